"""Every public function of the package says what it takes, gives and raises, as numpydoc asks.

Sections and their order: numpydoc's style guide (https://numpydoc.readthedocs.io/en/latest/format.html).
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "service" / "evenhand"
MODULES = sorted(
    path
    for path in PACKAGE.rglob("*.py")
    if "migrations" not in path.parts and PACKAGE / "models" not in path.parents
)

Definition = ast.FunctionDef | ast.AsyncFunctionDef

TOLD_BY_OTHERS = re.compile(r"(\w*router|client)\.\w+\(|(\w+\.)?(command|group)\(")
"""Decorators of routes and commands: callers read of their parameters in /openapi.json and --help,
where the docstring stands too."""

SECTION = re.compile(r"^(\w[\w ]*)\n-{3,}$", re.MULTILINE)


@dataclass(frozen=True)
class Function:
    """A public function or method as its source has it."""

    name: str
    node: Definition
    is_method: bool

    @property
    def parameters(self) -> list[str]:
        """Names as numpydoc writes them, without `self` and what is called `_`."""
        told = self.node.args
        names = [one.arg for one in (*told.posonlyargs, *told.args)]
        static = any(ast.unparse(one) == "staticmethod" for one in self.node.decorator_list)
        names = names[1:] if self.is_method and not static else names
        names += [f"*{told.vararg.arg}"] if told.vararg else []
        names += [one.arg for one in told.kwonlyargs]
        names += [f"**{told.kwarg.arg}"] if told.kwarg else []
        return [name for name in names if name.strip("_")]

    @property
    def gives(self) -> bool:
        """Whether a caller gets something."""
        return ast.unparse(self.node.returns or ast.Constant(None)) not in (
            "None", "NoReturn", "Iterator[None]",
        )  # fmt: skip

    @property
    def raises(self) -> bool:
        """Whether an error is raised in the function itself."""
        inside: list[ast.AST] = list(self.node.body)
        while inside:
            node = inside.pop()
            if isinstance(node, ast.Raise) and node.exc is not None:
                return True
            if not isinstance(node, Definition | ast.Lambda | ast.ClassDef):
                inside += ast.iter_child_nodes(node)
        return False


def functions(body: list[ast.stmt], of: str = "") -> Iterator[Function]:
    """Public functions of a module, methods of its public classes among them."""
    for node in body:
        if isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            yield from functions(node.body, f"{of}{node.name}.")
        elif isinstance(node, Definition) and not (node.name.startswith("_") or by_others(node)):
            yield Function(of + node.name, node, bool(of))


def by_others(node: Definition) -> bool:
    """Whether a function's parameters are told elsewhere, see `TOLD_BY_OTHERS`."""
    return any(TOLD_BY_OTHERS.match(ast.unparse(one)) for one in node.decorator_list)


def sections(told: str) -> dict[str, str]:
    """Sections of a docstring by their titles."""
    parts = SECTION.split(told)
    return dict(zip(parts[1::2], parts[2::2], strict=True))


def described(section: str) -> list[str]:
    """Parameters that a section describes, in order."""
    heads = re.findall(r"^(\S.*)$", section, re.MULTILINE)
    return [name.strip() for head in heads for name in head.partition(" : ")[0].split(",")]


def lacking(function: Function) -> list[str]:
    """What a function does not say."""
    said = sections(ast.get_docstring(function.node) or "")
    lacks = []
    if described(said.get("Parameters", "")) != function.parameters:
        lacks.append(f"Parameters {', '.join(function.parameters) or 'are none'}")
    if function.parameters and function.gives and not {"Returns", "Yields"} & said.keys():
        lacks.append("Returns")
    if function.raises and "Raises" not in said:
        lacks.append("Raises")
    return lacks


@pytest.mark.parametrize("package", sorted({path.parent for path in MODULES}), ids=lambda p: p.name)
def test_functions_say_what_they_take_give_and_raise(package: Path) -> None:
    found = [
        (f"{path.relative_to(PACKAGE)}: {function.name}", lacking(function))
        for path in sorted(package.glob("*.py"))
        for function in functions(ast.parse(path.read_text("utf-8")).body)
    ]
    silent = [f"{name} lacks {'; '.join(lacks)}" for name, lacks in found if lacks]
    assert not silent, "\n".join(silent)


def test_what_is_not_said_is_found() -> None:
    [silent, half, whole] = functions(
        ast.parse(
            '''
def silent(a, *, b=1) -> int:
    """Nothing."""
    raise ValueError

def half(a, b) -> int:
    """Half.

    Parameters
    ----------
    a : int
    """

def whole(a, b) -> int:
    """All.

    Parameters
    ----------
    a, b : int
        Numbers: what they mean.

    Returns
    -------
    int
    """

def _own(a): ...

@router.get("/way")
def route(a) -> int: ...
'''
        ).body
    )
    assert lacking(silent) == ["Parameters a, b", "Returns", "Raises"]
    assert lacking(half) == ["Parameters a, b", "Returns"]
    assert lacking(whole) == []
