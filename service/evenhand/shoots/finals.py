"""Finals that may be delivered: made as signed, or by a recorded override, and still that."""

from __future__ import annotations

from enum import StrEnum

from sqlalchemy import select
from sqlalchemy.orm import Session

from evenhand.errors import WrongSettingError
from evenhand.shoots.errors import NotReadyError, StaleError
from evenhand.shoots.names import file_name
from evenhand.shoots.renderings import state_of
from evenhand.shoots.sign_offs import Standing, latest, standing
from evenhand.shoots.tables import Final, Job, Portrait, Shoot, SignOff


class Format(StrEnum):
    """In which form a final is made."""

    ORIGINAL = "original"
    JPEG = "jpeg"
    TIFF = "tiff"


def check_form(format: Format, longest_side: int | None) -> None:
    """Make sure that a final can have this form: the original's own has the original's size.

    Parameters
    ----------
    format : Format
    longest_side : int or None
        Pixels.

    Raises
    ------
    WrongSettingError
        The original's own form is to have another size.
    """
    if format is Format.ORIGINAL and longest_side is not None:
        raise WrongSettingError(
            "A final in the original's form has the original's size.",
            "Leave the size out, or ask for jpeg or tiff.",
        )


def deliverable(session: Session, portrait: Portrait) -> Final:
    """The final of a portrait that holds at this moment.

    Parameters
    ----------
    session : Session
    portrait : Portrait

    Returns
    -------
    Final

    Raises
    ------
    NotReadyError
        There is none, or only voided ones.
    StaleError
        The newest one is no longer what was signed, or what the portrait looks like now.
    """
    final = session.scalars(
        select(Final)
        .where(Final.portrait_id == portrait.id, Final.voided_at.is_(None))
        .order_by(Final.number.desc())
        .limit(1)
    ).first()
    if final is None:
        raise NotReadyError("Not every portrait has a final.", "Make the finals first.")
    if not _holds(session, portrait, final):
        raise StaleError(
            f"{portrait.name} has changed since its final was made.",
            "Have it signed off again, or make the final again.",
        )
    return final


def final_name(shoot: Shoot, portrait: Portrait, pattern: str) -> str:
    """Name of a portrait's final by a pattern, without ending; portraits are numbered from 1.

    Parameters
    ----------
    shoot : Shoot
    portrait : Portrait
        One of the shoot's.
    pattern : str
        As for `evenhand.shoots.names.file_name`.

    Returns
    -------
    str

    Raises
    ------
    WrongSettingError
        The pattern cannot be used.
    """
    number = [one.id for one in shoot.portraits].index(portrait.id) + 1
    return file_name(pattern, shoot=shoot.name, portrait=portrait.name, number=number)


def is_made(
    session: Session, signed: SignOff, name: str, format: Format, longest_side: int | None
) -> bool:
    """Whether a final of this name and form is made already from a sign-off.

    Parameters
    ----------
    session : Session
    signed : SignOff
    name : str
        Without ending.
    format : Format
    longest_side : int or None
        Pixels.

    Returns
    -------
    bool
    """
    made = session.scalars(
        select(Final).where(
            Final.sign_off_id == signed.id,
            Final.voided_at.is_(None),
            Final.format == format,
        )
    )
    return any(
        final.longest_side == longest_side and final.name.rpartition(".")[0] == name
        for final in made
    )


def held(session: Session, shoot_id: str) -> set[str]:
    """Identifiers of the finals of a shoot that are not voided.

    Parameters
    ----------
    session : Session
    shoot_id : str

    Returns
    -------
    set of str
    """
    return set(
        session.scalars(
            select(Final.id)
            .join(Portrait, Portrait.id == Final.portrait_id)
            .where(Portrait.shoot_id == shoot_id, Final.voided_at.is_(None))
        )
    )


def package_stands(job: Job, held: set[str]) -> bool:
    """Whether every final in a job's package is still held; a deleted one is not.

    Parameters
    ----------
    job : Job
        That packed finals.
    held : set of str
        From `held`.

    Returns
    -------
    bool
    """
    return set((job.result or {}).get("finals", ())) <= held


def _holds(session: Session, portrait: Portrait, final: Final) -> bool:
    if final.sign_off_id is None:
        return state_of(session, portrait) == final.state_sha256
    signed = latest(session, portrait.id)
    return (
        signed is not None
        and signed.id == final.sign_off_id
        and standing(session, portrait, signed) is Standing.VALID
    )
