"""Fills in what the documentation takes from the code: commands, settings, the public names.

A line ``<!-- NAME -->`` of a page is replaced by what the function of that name gives.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from importlib.resources import files
from typing import Any

import click
from pydantic import BaseModel

import evenhand
from evenhand.cli import main
from evenhand.computing import DEFAULT_STEPS, RetouchSettings, settings_models
from evenhand.people.finding import PeopleSettings
from evenhand.report import Report
from evenhand.retouching.tone_matching import ToneReport
from evenhand.steps.tone import ToneSettings

MARKER = re.compile(r"^<!-- (\w+) -->$", re.MULTILINE)


def on_page_markdown(markdown: str, **_: Any) -> str:
    """The page with its markers replaced; mkdocs calls this for each."""
    return MARKER.sub(lambda found: GENERATED[found[1]](), markdown)


def commands() -> str:
    """Every command with what its own help says."""
    context = click.Context(main, info_name="evenhand", terminal_width=90, max_content_width=90)
    return "\n\n".join(_commands(main, context))


def _commands(group: click.Group, context: click.Context) -> Iterator[str]:
    for name, command in sorted(group.commands.items()):
        inner = click.Context(
            command, info_name=name, parent=context, terminal_width=90, max_content_width=90
        )
        if isinstance(command, click.Group):
            yield from _commands(command, inner)
        else:
            yield f"## {inner.command_path}\n\n```text\n{command.get_help(inner)}\n```"


def steps() -> str:
    """Every step with its settings, and those of a photograph and of people."""
    parts = []
    for name, model in settings_models().items():
        runs = "Runs unless told otherwise." if name in DEFAULT_STEPS else "Runs on request."
        parts.append(f"## {name}\n\n{runs}\n\n{_fields(model)}")
    own = {"steps", *settings_models()}
    parts.append("## A photograph\n\n" + _fields(RetouchSettings, own - {"steps"}))
    parts.append("## People\n\n" + _fields(PeopleSettings))
    parts.append("## tone\n\nThe match of a shoot, by `evenhand tone`.\n\n" + _fields(ToneSettings))
    return "\n\n".join(parts)


def _fields(model: type[BaseModel], without: set[str] | None = None) -> str:
    rows = ["| setting | default | limits | what |", "| --- | --- | --- | --- |"]
    for name, field in model.model_json_schema()["properties"].items():
        if name in (without or ()):
            continue
        low = field.get("minimum", field.get("exclusiveMinimum"))
        high = field.get("maximum", field.get("exclusiveMaximum"))
        limits = "" if low is high is None else f"{low} to {high}"
        default = "" if field.get("default") is None else f"`{field['default']}`"
        rows.append(f"| `{name}` | {default} | {limits} | {field.get('description', '')} |")
    return "\n".join(rows)


def names() -> str:
    """Every public name, by what it is for."""
    parts = []
    for home, title in TITLES.items():
        own = [name for name in evenhand.__all__ if evenhand.home_of(name)[0].startswith(home)]
        paths = ("evenhand." + ".".join(evenhand.home_of(name)) for name in own)
        parts.append(f"## {title}\n\n" + "\n\n".join(f"::: {path}" for path in paths))
    return "\n\n".join(parts)


TITLES = {
    "photo": "Photographs",
    "people": "People and masks",
    "computing": "Computing layers",
    "layers": "Layers",
    "steps": "Steps",
    "retouching": "From a file to files",
    "report": "The report",
    "box": "What all share",
    "errors": "Errors",
}
"""Titles of the reference by the beginning of the modules' names."""


def report() -> str:
    """Fields of the report of a portrait, and of a tone match."""
    parts = []
    for title, model in (("A portrait", Report), ("A tone match", ToneReport)):
        schema = model.model_json_schema()
        parts.append(f"## {title}\n\n{_schema(schema)}")
        parts += [f"### {name}\n\n{_schema(part)}" for name, part in schema["$defs"].items()]
    return "\n\n".join(parts)


def _schema(schema: dict[str, Any]) -> str:
    rows = ["| field | what |", "| --- | --- |"]
    for name, field in schema["properties"].items():
        rows.append(f"| `{name}` | {field.get('description', '')} |")
    return "\n".join(rows)


def layer_set() -> str:
    """The description that lies beside the code."""
    text = (files("evenhand") / "layers" / "FORMAT.md").read_text("utf-8")
    return text.partition("\n")[2]


GENERATED: dict[str, Callable[[], str]] = {
    function.__name__: function for function in (commands, steps, names, report, layer_set)
}
"""What a marker stands for."""
