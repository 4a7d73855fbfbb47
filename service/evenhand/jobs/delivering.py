"""Finals and their delivery: rendered from the original at full quality, packed, listed."""

from __future__ import annotations

import zipfile
from pathlib import Path

from sqlalchemy.orm import Session

from evenhand.jobs.contact_sheet import Entry, write_contact_sheet
from evenhand.jobs.final_forms import write_form
from evenhand.jobs.job import Run, SupersededError
from evenhand.jobs.packing import unpack_layer
from evenhand.jobs.pictures import srgb_picture
from evenhand.jobs.place import Place
from evenhand.layers.layer import Layer
from evenhand.shoots import record, storage
from evenhand.shoots.errors import NoSignOffError, NotReadyError, StaleError
from evenhand.shoots.files import Stored
from evenhand.shoots.finals import Format, deliverable, final_name
from evenhand.shoots.inputs import inputs_of
from evenhand.shoots.media_types import media_type_of
from evenhand.shoots.renderings import Shown, as_choices, shown, state_of
from evenhand.shoots.sign_offs import Standing, latest, standing
from evenhand.shoots.tables import Final, Portrait, Shoot, SignOff

SHEET_SIDE = 900
"""Longer side of a picture on the contact sheet, pixels."""


def make_final(place: Place, run: Run) -> None:
    """Render a portrait's final, as signed or by a recorded override.

    Parameters
    ----------
    place : Place
    run : Run
        Its arguments may hold a format and a longest side in pixels.

    Raises
    ------
    StaleError
        The portrait or what is signed changed meanwhile.
    NoSignOffError
        The sign-off does not hold, and there is no override.
    NotReadyError
        The layers are not computed, or no longer fit what is set.
    """
    with place.database.reading() as session:
        portrait, items, state = _basis(place, session, run)
        sha256, name = portrait.sha256, portrait.name
    run.doing("reading", 0.1)
    with (
        place.files.as_path(run.shoot_id, sha256, name) as path,
        place.files.temporary() as folder,
    ):
        photograph = place.retoucher.read(path)
        run.doing("blending", 0.4)
        layers = layers_of(place, run.shoot_id, items)
        strengths = [item.strength for item in items]
        pixels = place.retoucher.blend(photograph, layers, strengths)
        run.doing("writing", 0.7)
        form = Format(run.arguments.get("format", Format.ORIGINAL))
        if form is Format.ORIGINAL:
            made = place.retoucher.write(pixels, photograph, folder, layers, strengths)
        else:
            side = run.arguments.get("longest_side")
            made = write_form(pixels, photograph, form, side, folder, layers, strengths)
        stored = place.files.put(run.shoot_id, made)
        with run.committing() as session:
            portrait, items, now_state = _basis(place, session, run)
            if now_state != state:
                raise StaleError(
                    "The portrait changed while its final was made.", "Ask for the final again."
                )
            kind = media_type_of(made)
            storage.enter(session, place.files, run.shoot_id, stored, made, kind)
            final = _enter_final(session, run, portrait, items, state, stored, made)
            run.end(session, {"final": final.id})


def make_delivery(place: Place, run: Run) -> None:
    """Pack a shoot's finals into a ZIP with a contact sheet of before and after.

    Parameters
    ----------
    place : Place
    run : Run
        Its arguments may name the finals.

    Raises
    ------
    StaleError
        A final changed meanwhile.
    """
    with place.database.reading() as session:
        shoot = session.get_one(Shoot, run.shoot_id)
        finals = _held_finals(session, run)
        entries = [(final, session.get_one(Portrait, final.portrait_id)) for final in finals]
    with place.files.temporary() as folder:
        sheet, package = folder / "contact-sheet.pdf", folder / "finals.zip"
        pictures = []
        for done, (final, portrait) in enumerate(entries):
            run.doing(f"contact sheet, {final.name}", 0.1 + 0.6 * done / len(entries))
            pictures.append(_sheet_entry(place, run, final, portrait))
        write_contact_sheet(sheet, shoot.name, pictures)
        run.doing("packing", 0.8)
        _pack(place, run, package, sheet, [final for final, _ in entries])
        stored = [place.files.put(run.shoot_id, file) for file in (package, sheet)]
        with run.committing() as session:
            if [f.id for f in _held_finals(session, run)] != [f.id for f, _ in entries]:
                raise StaleError("A final changed while they were packed.", "Pack them again.")
            storage.enter(session, place.files, run.shoot_id, stored[0], package, "application/zip")
            storage.enter(session, place.files, run.shoot_id, stored[1], sheet, "application/pdf")
            kinds = ("application/zip", "application/pdf")
            names = ("finals.zip", "contact-sheet.pdf")
            files = [
                {"name": name, "media_type": kind, "sha256": file.sha256, "size": file.size}
                for name, kind, file in zip(names, kinds, stored, strict=True)
            ]
            record.append(
                session,
                run.shoot_id,
                "service",
                "finals packed",
                finals=[final.id for final, _ in entries],
                files=files,
            )
            run.end(session, {"files": files, "finals": [final.id for final, _ in entries]})


def layers_of(place: Place, shoot_id: str, items: list[Shown]) -> list[Layer]:
    """The layers of these rows, read from their files.

    Parameters
    ----------
    place : Place
    shoot_id : str
    items : list of Shown

    Returns
    -------
    list of Layer
        In the rows' order.

    Raises
    ------
    DamagedFileError
        A layer's file is missing, or is not what it was.
    """
    return [unpack_layer(place.files.read(shoot_id, item.layer.sha256)) for item in items]


def _basis(place: Place, session: Session, run: Run) -> tuple[Portrait, list[Shown], str]:
    """Portrait, layers at their strengths and state that the final is made from.

    Raises
    ------
    NoSignOffError, StaleError
        The sign-off does not hold, and there is no override.
    NotReadyError
        The layers are not computed, or no longer fit what is set.
    """
    portrait = session.get(Portrait, run.portrait_id)
    if portrait is None:
        raise SupersededError(run.job_id)
    signing = bool(run.arguments.get("sign_off"))  # its state says which layers it is made from
    if not signing and portrait.layers_key != inputs_of(session, portrait, place.steps).key:
        raise NotReadyError(
            f"The layers of {portrait.name} are still to be computed.", "Wait, then ask again."
        )
    choices = {}
    signed = latest(session, portrait.id)
    if run.arguments.get("override") and signed and signed.number > run.arguments["asked"]:
        raise StaleError(
            f"{portrait.name} was signed off after this final was asked for.",
            "Ask for the final as it was signed.",
        )
    if signing:
        sign_off = session.get(SignOff, run.arguments["sign_off"])
        how = standing(session, portrait, sign_off) if sign_off else Standing.VOID
        if sign_off is None or how is Standing.VOID:
            raise NoSignOffError(
                f"The sign-off of {portrait.name} was voided.", "Show the client a new proof."
            )
        if how is Standing.STALE:
            raise StaleError(
                f"{portrait.name} has changed since it was signed off.",
                "Show the client a new proof.",
            )
        choices = as_choices(sign_off.choices)
    items = shown(session, portrait, choices)
    return portrait, items, state_of(session, portrait, choices)


def _enter_final(
    session: Session,
    run: Run,
    portrait: Portrait,
    items: list[Shown],
    state: str,
    stored: Stored,
    made: Path,
) -> Final:
    final = Final(
        portrait_id=portrait.id,
        sign_off_id=run.arguments.get("sign_off"),
        override=run.arguments.get("override"),
        name=_final_name(session, run, portrait, made.suffix),
        media_type=media_type_of(made),
        format=run.arguments.get("format", Format.ORIGINAL),
        longest_side=run.arguments.get("longest_side"),
        layers=[
            {"person": i.person.id, "step": i.layer.step, "strength": i.strength} for i in items
        ],
        state_sha256=state,
        sha256=stored.sha256,
        size=stored.size,
    )
    session.add(final)
    session.flush()
    entry = record.append(
        session,
        run.shoot_id,
        run.arguments.get("actor", "service"),
        "final made",
        final=final.id,
        portrait=portrait.id,
        sign_off=final.sign_off_id,
        override=final.override,
        format=final.format,
        longest_side=final.longest_side,
        strengths=final.layers,
        sha256=stored.sha256,
    )
    final.number = entry.number
    return final


def _final_name(session: Session, run: Run, portrait: Portrait, suffix: str) -> str:
    shoot = session.get_one(Shoot, run.shoot_id)
    return final_name(shoot, portrait, run.arguments.get("pattern") or "{portrait}") + suffix


def _held_finals(session: Session, run: Run) -> list[Final]:
    """The final that holds now of each portrait asked for, in order of the portraits."""
    portraits = [session.get(Portrait, portrait) for portrait in run.arguments["portraits"]]
    return [deliverable(session, portrait) for portrait in portraits if portrait is not None]


def _pack(place: Place, run: Run, package: Path, sheet: Path, finals: list[Final]) -> None:
    used: set[str] = set()
    with zipfile.ZipFile(package, "w", zipfile.ZIP_STORED) as out:
        for final in finals:
            assert final.sha256 is not None
            with out.open(zipfile.ZipInfo(_unused(final.name, used)), "w") as entry:
                for piece in place.files.pieces(run.shoot_id, final.sha256):
                    entry.write(piece)
        out.write(sheet, sheet.name)


def _unused(name: str, used: set[str]) -> str:
    """The name, with a number where it is taken."""
    path, number, free = Path(name), 1, name
    while free.lower() in used:
        number += 1
        free = f"{path.stem}-{number}{path.suffix}"
    used.add(free.lower())
    return free


def _sheet_entry(place: Place, run: Run, final: Final, portrait: Portrait) -> Entry:
    assert final.sha256 is not None
    before = _small(place, run.shoot_id, portrait.sha256, portrait.name)
    after = _small(place, run.shoot_id, final.sha256, final.name)
    done = [f"{row['step']} {row['strength']:.0%}" for row in final.layers if row["strength"] > 0]
    return Entry(final.name, before, after, _counted(done), _basis_words(final))


def _small(place: Place, shoot_id: str, sha256: str, name: str) -> bytes:
    """A picture for the sheet, JPEG in sRGB."""
    with place.files.as_path(shoot_id, sha256, name) as path:
        return srgb_picture(place.retoucher.read(path), SHEET_SIDE)


def _counted(done: list[str]) -> str:
    return ", ".join(dict.fromkeys(done)) or "nothing was changed"


def _basis_words(final: Final) -> str:
    if final.sign_off_id:
        return f"signed off ({final.sign_off_id[:8]})"
    return f"without sign-off: {final.override}"
