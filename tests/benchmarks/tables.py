"""Figures as text: a table for each case, and the tables of the README."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from tests.benchmarks.runs import FLOOR, OPENCV, SCIKIT_IMAGE, STEPS, WHOLE


def case_table(name: str, case: dict[str, Any]) -> str:
    """Stages of a case, each with its ratio to decoding and encoding alone."""
    floor = case["stages"][FLOOR]["median"]
    lines = [
        f"\n{name}: {case['changed'] / 1e6:.2f} MP change, decoded {case['decoded_mib']:.0f} MiB",
        f"{'stage':28}{'median':>10}{'smallest':>10}{'largest':>10}{'CPU':>10}"
        f"{'peak':>11}{'ratio':>8}",
    ]
    for stage, figure in case["stages"].items():
        times = "".join(
            f"{figure[key] * 1e3:7.1f} ms"
            for key in ("median", "smallest", "largest", "cpu_median")
        )
        lines.append(
            f"{stage:28}{times}{figure['peak_mib']:7.0f} MiB{figure['median'] / floor:8.2f}"
        )
    return "\n".join(lines)


def readme_tables(results: dict[str, Any]) -> str:
    """Everything that was measured, as Markdown."""
    parts = [_whole_runs(results["cases"])]
    parts += [f"\n{line}" for line in _sentences(results)]
    return "\n".join(parts)


def _whole_runs(cases: dict[str, Any]) -> str:
    lines = [
        "| file | decode and encode | whole run (range) | ratio | CPU | CPU ratio | peak memory |"
        " times the decoded file |",
        "| --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for name, case in cases.items():
        floor, whole = case["stages"][FLOOR], case["stages"][WHOLE]
        peak = whole["peak_mib"]
        lines.append(
            f"| {name} | {_ms(floor['median'])} | {_ms(whole['median'])} "
            f"({whole['smallest'] * 1e3:,.0f} to {whole['largest'] * 1e3:,.0f}) "
            f"| {whole['median'] / floor['median']:.1f} | {_ms(whole['cpu_median'])} "
            f"| {whole['cpu_median'] / floor['cpu_median']:.1f} | {peak:,.0f} MiB "
            f"| {peak / case['decoded_mib']:.1f} |"
        )
    return "\n".join(lines)


def _sentences(results: dict[str, Any]) -> Iterator[str]:
    for name, case in results["cases"].items():
        stages = case["stages"]
        if STEPS in stages:
            own = stages[STEPS]
            for other in (OPENCV, SCIKIT_IMAGE):
                wall = stages[other]["median"] / own["median"]
                cpu = stages[other]["cpu_median"] / own["cpu_median"]
                yield (
                    f"{name}, {other}: {_ms(stages[other]['median'])} against "
                    f"{_ms(own['median'])}, {wall:.1f} times as long ({cpu:.1f} in CPU time)."
                )
    if "folder" in results:
        folder = results["folder"]
        yield (
            f"Folder of {folder['portraits']} portraits of {folder['megapixels']} MP: "
            f"{folder['seconds']} seconds, {folder['times as many on all cores']:.2f} times as "
            "many on all cores as on one."
        )
    for name, figure in results.get("start", {}).items():
        yield f"Start, {name}: {_ms(figure['median'])} (CPU {_ms(figure['cpu_median'])})."
    if "preview" in results:
        after = results["preview"]["after a change of strength"]
        yield (
            f"Preview of 2,048 pixels: first {_ms(results['preview']['first preview'])}, after a "
            f"change of strength {after['median'] * 1e3:.1f} ms (CPU {_ms(after['cpu_median'])})."
        )
    for name, line in results.get("growth", {}).items():
        yield f"Growth with {name}: size to the power of {line['exponent']:.2f}."


def _ms(seconds: float) -> str:
    return f"{seconds * 1e3:,.0f} ms"
