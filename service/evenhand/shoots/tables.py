"""The tables of the records, one class a table.

Moments are UTC. Identifiers are random, so that none can be guessed from another. A `number` is
that of the entry of the shoot's record that tells of the row: what came first is told by it, not by
a clock. Rows of `Record` are changed only where a person is erased, and go only when their whole
shoot is deleted.
"""

from __future__ import annotations

import uuid
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import (
    JSON,
    BigInteger,
    DateTime,
    ForeignKey,
    Integer,
    MetaData,
    String,
    Text,
    TypeDecorator,
    UniqueConstraint,
)
from sqlalchemy.engine import Dialect
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column, relationship


def now() -> datetime:
    """The present moment, UTC."""
    return datetime.now(UTC)


def new_id() -> str:
    """A random identifier of 32 hexadecimal digits."""
    return uuid.uuid4().hex


class Moment(TypeDecorator[datetime]):
    """A moment in UTC; databases without time zones give it back with one."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """The moment as it is stored.

        Parameters
        ----------
        value : datetime or None
            With a time zone.
        dialect : Dialect

        Returns
        -------
        datetime or None
            UTC.
        """
        return None if value is None else value.astimezone(UTC)

    def process_result_value(self, value: Any, dialect: Dialect) -> datetime | None:
        """The moment as it is read.

        Parameters
        ----------
        value : datetime or None
            Taken for UTC where the database keeps no time zone.
        dialect : Dialect

        Returns
        -------
        datetime or None
            UTC.
        """
        if value is None:
            return None
        at: datetime = value
        return at.replace(tzinfo=UTC) if at.tzinfo is None else at.astimezone(UTC)


Sequence = BigInteger().with_variant(Integer, "sqlite")
# Numbers that the database counts up itself.


class Table(DeclarativeBase):
    """Base of all tables; constraints have predictable names."""

    metadata = MetaData(
        naming_convention={
            "ix": "ix_%(table_name)s_%(column_0_name)s",
            "uq": "uq_%(table_name)s_%(column_0_name)s",
            "fk": "fk_%(table_name)s_%(column_0_name)s",
            "pk": "pk_%(table_name)s",
        }
    )
    type_annotation_map = {  # noqa: RUF012
        datetime: Moment,
        dict[str, Any]: JSON,
        list[Any]: JSON,
        str: String(255),
    }


def _of(table: str, *, index: bool = True) -> Any:
    return mapped_column(ForeignKey(f"{table}.id", ondelete="CASCADE"), index=index)


class Shoot(Table):
    """The portraits of one client or one day."""

    __tablename__ = "shoot"

    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    name: Mapped[str]
    client: Mapped[str] = mapped_column(default="")
    created_at: Mapped[datetime] = mapped_column(default=now)
    deleting_at: Mapped[datetime | None]
    erasing_at: Mapped[datetime | None]
    record_signature: Mapped[str | None] = mapped_column(String(128))

    portraits: Mapped[list[Portrait]] = relationship(
        back_populates="shoot", order_by="Portrait.number", passive_deletes=True
    )


class StoredFile(Table):
    """A file of a shoot, named by the SHA-256 of its bytes."""

    __tablename__ = "stored_file"

    shoot_id: Mapped[str] = mapped_column(
        ForeignKey("shoot.id", ondelete="CASCADE"), primary_key=True
    )
    sha256: Mapped[str] = mapped_column(String(64), primary_key=True)
    size: Mapped[int] = mapped_column(BigInteger)
    media_type: Mapped[str]
    created_at: Mapped[datetime] = mapped_column(default=now)


class Portrait(Table):
    """One photograph of a shoot; one that was removed can be brought back for a while."""

    __tablename__ = "portrait"
    __table_args__ = (UniqueConstraint("shoot_id", "sha256"),)

    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    shoot_id: Mapped[str] = _of("shoot")
    number: Mapped[int] = mapped_column(default=0)
    name: Mapped[str]
    sha256: Mapped[str] = mapped_column(String(64))
    size: Mapped[int] = mapped_column(BigInteger)
    media_type: Mapped[str]
    width: Mapped[int | None]
    height: Mapped[int | None]
    trouble: Mapped[str | None] = mapped_column(Text)
    found_at: Mapped[datetime | None]
    layers_key: Mapped[str | None] = mapped_column(String(64))
    stars: Mapped[int] = mapped_column(default=0)
    removed_at: Mapped[datetime | None]
    created_at: Mapped[datetime] = mapped_column(default=now)

    shoot: Mapped[Shoot] = relationship(back_populates="portraits")
    people: Mapped[list[Person]] = relationship(
        back_populates="portrait", order_by="Person.index", passive_deletes=True
    )


class Person(Table):
    """Somebody found in a portrait, or added by hand; who it is the photographer alone says.

    `sha256` names the file with masks and face geometry; it goes with the portrait.
    """

    __tablename__ = "person"
    __table_args__ = (UniqueConstraint("portrait_id", "index"),)

    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    portrait_id: Mapped[str] = _of("portrait")
    index: Mapped[int]
    name: Mapped[str | None]
    child: Mapped[bool] = mapped_column(default=False)
    face: Mapped[dict[str, Any] | None]
    confidence: Mapped[float | None]
    mm_per_pixel: Mapped[float]
    regions: Mapped[list[Any]]
    settings: Mapped[dict[str, Any]] = mapped_column(default=dict)
    sha256: Mapped[str] = mapped_column(String(64))
    by_hand: Mapped[bool] = mapped_column(default=False)

    portrait: Mapped[Portrait] = relationship(back_populates="people")
    layers: Mapped[list[Layer]] = relationship(
        back_populates="person", order_by="Layer.created_at", passive_deletes=True
    )
    marks: Mapped[list[Mark]] = relationship(
        back_populates="person", order_by="Mark.number", passive_deletes=True
    )
    edits: Mapped[list[MaskEdit]] = relationship(
        back_populates="person", order_by="MaskEdit.number", passive_deletes=True
    )
    strokes: Mapped[list[StrengthStroke]] = relationship(
        back_populates="person", order_by="StrengthStroke.number", passive_deletes=True
    )


class MaskEdit(Table):
    """What the photographer painted into or out of a mask, kept as its own edit."""

    __tablename__ = "mask_edit"

    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    person_id: Mapped[str] = _of("person")
    number: Mapped[int] = mapped_column(default=0)
    region: Mapped[str]
    paint: Mapped[str]
    box: Mapped[dict[str, Any]]
    sha256: Mapped[str] = mapped_column(String(64))
    created_at: Mapped[datetime] = mapped_column(default=now)

    person: Mapped[Person] = relationship(back_populates="edits")


class StrengthStroke(Table):
    """Where the photographer painted a person's layer of a step less strong, or stronger again.

    It stays when the layer is computed anew.
    """

    __tablename__ = "strength_stroke"

    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    person_id: Mapped[str] = _of("person")
    number: Mapped[int] = mapped_column(default=0)
    step: Mapped[str]
    paint: Mapped[str]
    amount: Mapped[float]
    box: Mapped[dict[str, Any]]
    sha256: Mapped[str] = mapped_column(String(64))
    created_at: Mapped[datetime] = mapped_column(default=now)

    person: Mapped[Person] = relationship(back_populates="strokes")


class Layer(Table):
    """One step's change to one person; the differences are in the file.

    `plain_sha256` names the file as it was computed, where strength was painted in places.
    """

    __tablename__ = "layer"
    __table_args__ = (UniqueConstraint("person_id", "step"),)

    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    person_id: Mapped[str] = _of("person")
    step: Mapped[str]
    box: Mapped[dict[str, Any]]
    cap: Mapped[float]
    strength: Mapped[float]
    settings: Mapped[dict[str, Any]]
    facts: Mapped[dict[str, Any]]
    sha256: Mapped[str] = mapped_column(String(64))
    plain_sha256: Mapped[str | None] = mapped_column(String(64))
    created_at: Mapped[datetime] = mapped_column(default=now)

    person: Mapped[Person] = relationship(back_populates="layers")


class Mark(Table):
    """A spot on skin, and what is to become of it."""

    __tablename__ = "mark"
    __table_args__ = (UniqueConstraint("person_id", "number"),)

    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    person_id: Mapped[str] = _of("person")
    number: Mapped[int]
    kind: Mapped[str]
    region: Mapped[str]
    size_mm: Mapped[float]
    row: Mapped[float]
    column: Mapped[float]
    confidence: Mapped[float]
    proposed: Mapped[str]
    decision: Mapped[str | None]
    wish: Mapped[str | None]

    person: Mapped[Person] = relationship(back_populates="marks")


class Permission(Table):
    """What a person agreed to, or took back, when and how they said so.

    Rows are only added: the last one that names a step decides.
    """

    __tablename__ = "permission"

    number: Mapped[int] = mapped_column(Sequence, primary_key=True, autoincrement=True)
    id: Mapped[str] = mapped_column(String(32), unique=True, default=new_id)
    shoot_id: Mapped[str] = _of("shoot")
    name: Mapped[str]
    given: Mapped[bool]
    steps: Mapped[list[Any]]
    said_by: Mapped[str]
    role: Mapped[str | None]
    how: Mapped[str]
    said_at: Mapped[datetime]
    note: Mapped[str] = mapped_column(Text, default="")
    recorded_at: Mapped[datetime] = mapped_column(default=now)
    recorded_by: Mapped[str]


class Proof(Table):
    """What the client is shown to choose from; its link is a token of its own."""

    __tablename__ = "proof"

    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    shoot_id: Mapped[str] = _of("shoot")
    strengths: Mapped[list[Any]]
    message: Mapped[str] = mapped_column(Text, default="")
    created_at: Mapped[datetime] = mapped_column(default=now)

    portraits: Mapped[list[ProofPortrait]] = relationship(
        back_populates="proof", order_by="ProofPortrait.position", passive_deletes=True
    )


class ProofPortrait(Table):
    """A portrait in a proof."""

    __tablename__ = "proof_portrait"

    proof_id: Mapped[str] = mapped_column(
        ForeignKey("proof.id", ondelete="CASCADE"), primary_key=True
    )
    portrait_id: Mapped[str] = mapped_column(
        ForeignKey("portrait.id", ondelete="CASCADE"), primary_key=True, index=True
    )
    position: Mapped[int]

    proof: Mapped[Proof] = relationship(back_populates="portraits")
    portrait: Mapped[Portrait] = relationship()


class SignOff(Table):
    """The client's decision, bound to the hash of exactly what they saw."""

    __tablename__ = "sign_off"

    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    proof_id: Mapped[str] = _of("proof")
    portrait_id: Mapped[str] = _of("portrait")
    number: Mapped[int] = mapped_column(default=0)
    signed_by: Mapped[str]
    note: Mapped[str] = mapped_column(Text, default="")
    choices: Mapped[list[Any]]
    applied: Mapped[list[Any]] = mapped_column(default=list)
    state_sha256: Mapped[str] = mapped_column(String(64))
    image_sha256: Mapped[str] = mapped_column(String(64))
    rendering: Mapped[str] = mapped_column(String(64))
    signed_at: Mapped[datetime] = mapped_column(default=now)
    unlocked_at: Mapped[datetime | None]
    voided_at: Mapped[datetime | None]
    void_reason: Mapped[str | None] = mapped_column(Text)


class AskedChange(Table):
    """A change that the client asked for, bound to the hash of exactly what they saw.

    `round` counts the showings of the portrait from 1. `answered_in` is the proof in which it was
    shown again. The picture goes when a change that it shows is taken back.
    """

    __tablename__ = "asked_change"

    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    proof_id: Mapped[str] = _of("proof")
    portrait_id: Mapped[str] = _of("portrait")
    number: Mapped[int] = mapped_column(default=0)
    round: Mapped[int]
    asked_by: Mapped[str]
    words: Mapped[str] = mapped_column(Text)
    places: Mapped[list[Any]]
    choices: Mapped[list[Any]]
    state_sha256: Mapped[str] = mapped_column(String(64))
    image_sha256: Mapped[str | None] = mapped_column(String(64))
    rendering: Mapped[str] = mapped_column(String(64))
    asked_at: Mapped[datetime] = mapped_column(default=now)
    standing: Mapped[str]
    answer: Mapped[str] = mapped_column(Text, default="")
    answered_at: Mapped[datetime | None]
    answered_in: Mapped[str | None] = mapped_column(
        ForeignKey("proof.id", ondelete="SET NULL"), index=True
    )


class Final(Table):
    """The delivered file."""

    __tablename__ = "final"

    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    portrait_id: Mapped[str] = _of("portrait")
    number: Mapped[int] = mapped_column(default=0)
    sign_off_id: Mapped[str | None] = mapped_column(
        ForeignKey("sign_off.id", ondelete="CASCADE"), index=True
    )
    override: Mapped[str | None] = mapped_column(Text)
    name: Mapped[str]
    media_type: Mapped[str]
    format: Mapped[str] = mapped_column(default="original")
    longest_side: Mapped[int | None]
    layers: Mapped[list[Any]]
    state_sha256: Mapped[str] = mapped_column(String(64))
    sha256: Mapped[str | None] = mapped_column(String(64))
    size: Mapped[int] = mapped_column(BigInteger)
    created_at: Mapped[datetime] = mapped_column(default=now)
    voided_at: Mapped[datetime | None]
    void_reason: Mapped[str | None] = mapped_column(Text)


class Record(Table):
    """What happened in a shoot, in order, each row sealed with the hash of all before it."""

    __tablename__ = "record"
    __table_args__ = (UniqueConstraint("shoot_id", "number"),)

    id: Mapped[int] = mapped_column(Sequence, primary_key=True, autoincrement=True)
    shoot_id: Mapped[str] = _of("shoot", index=False)
    number: Mapped[int]
    at: Mapped[datetime]
    actor: Mapped[str]
    action: Mapped[str]
    facts: Mapped[dict[str, Any]]
    previous: Mapped[str] = mapped_column(String(64))
    sha256: Mapped[str] = mapped_column(String(64))


class Audit(Table):
    """Who asked the service for what; holds no pictures, no names of people, no geometry."""

    __tablename__ = "audit"

    id: Mapped[int] = mapped_column(Sequence, primary_key=True, autoincrement=True)
    at: Mapped[datetime] = mapped_column(default=now, index=True)
    actor: Mapped[str]
    action: Mapped[str]
    subject: Mapped[str]
    outcome: Mapped[str]
    facts: Mapped[dict[str, Any]] = mapped_column(default=dict)


class Studio(Table):
    """The studio's name and mark, as its clients see them; one row at most.

    The mark is a PNG in base64, so that backups hold it as text.
    """

    __tablename__ = "studio"

    id: Mapped[int] = mapped_column(primary_key=True, default=1)
    name: Mapped[str] = mapped_column(default="")
    mark: Mapped[str | None] = mapped_column(Text)


class Token(Table):
    """A key to the service; only its hash is kept."""

    __tablename__ = "token"

    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    sha256: Mapped[str] = mapped_column(String(64), unique=True)
    scope: Mapped[str]
    label: Mapped[str]
    proof_id: Mapped[str | None] = mapped_column(
        ForeignKey("proof.id", ondelete="CASCADE"), index=True
    )
    shoot_id: Mapped[str | None] = mapped_column(
        ForeignKey("shoot.id", ondelete="CASCADE"), index=True
    )
    person_name: Mapped[str | None]
    created_at: Mapped[datetime] = mapped_column(default=now)
    expires_at: Mapped[datetime | None]
    revoked_at: Mapped[datetime | None]


class Upload(Table):
    """A file on its way in; what has come lies in parts."""

    __tablename__ = "upload"

    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    shoot_id: Mapped[str] = _of("shoot")
    name: Mapped[str]
    length: Mapped[int] = mapped_column(BigInteger)
    offset: Mapped[int] = mapped_column(BigInteger, default=0)
    parts: Mapped[list[Any]] = mapped_column(default=list)
    sha256: Mapped[str | None] = mapped_column(String(64))
    portrait_id: Mapped[str | None] = mapped_column(String(32))
    created_at: Mapped[datetime] = mapped_column(default=now)
    expires_at: Mapped[datetime] = mapped_column(index=True)


class Job(Table):
    """A piece of work that outlives a request; its durable run has the same identifier."""

    __tablename__ = "job"

    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    shoot_id: Mapped[str] = _of("shoot")
    portrait_id: Mapped[str | None] = mapped_column(
        ForeignKey("portrait.id", ondelete="CASCADE"), index=True
    )
    kind: Mapped[str]
    arguments: Mapped[dict[str, Any]] = mapped_column(default=dict)
    state: Mapped[str] = mapped_column(default="waiting", index=True)
    progress: Mapped[float] = mapped_column(default=0.0)
    doing: Mapped[str] = mapped_column(default="")
    result: Mapped[dict[str, Any] | None]
    trouble: Mapped[str | None] = mapped_column(Text)
    advice: Mapped[str | None] = mapped_column(Text)
    attempt: Mapped[int] = mapped_column(default=0)
    deaths: Mapped[int] = mapped_column(default=0)
    waits_for: Mapped[str] = mapped_column(default="")
    created_at: Mapped[datetime] = mapped_column(default=now)
    started_at: Mapped[datetime | None]
    finished_at: Mapped[datetime | None]


class Preset(Table):
    """Strengths by step that the studio gave a name, to give them again."""

    __tablename__ = "preset"

    id: Mapped[str] = mapped_column(String(32), primary_key=True, default=new_id)
    name: Mapped[str] = mapped_column(unique=True)
    strengths: Mapped[dict[str, Any]]
    created_at: Mapped[datetime] = mapped_column(default=now)


class Worker(Table):
    """A process that does jobs, and when it last said that it lives."""

    __tablename__ = "worker"

    id: Mapped[str] = mapped_column(String(64), primary_key=True)
    host: Mapped[str]
    started_at: Mapped[datetime] = mapped_column(default=now)
    seen_at: Mapped[datetime] = mapped_column(default=now)
