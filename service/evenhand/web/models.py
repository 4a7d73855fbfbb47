"""What goes in and out over HTTP, as models; the description of the API is made from them."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, Literal

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, StringConstraints

from evenhand.jobs.job import Kind, State
from evenhand.shoots import asked_changes
from evenhand.shoots.finals import Format
from evenhand.shoots.permissions import LASTING_MARKS, How, SaidBy
from evenhand.shoots.sign_offs import Standing
from evenhand.shoots.tokens import STUDIO_LASTS, Scope

Id = Annotated[str, StringConstraints(pattern="^[0-9a-f]{32}$")]
"""A random identifier."""

Sha256 = Annotated[str, StringConstraints(pattern="^[0-9a-f]{64}$")]
"""A hash in hexadecimal."""

NO_CONTROLS = r"^[^\x00-\x1f\x7f]*$"
"""Text without control characters."""

Text = Annotated[
    str, StringConstraints(min_length=1, max_length=200, pattern=NO_CONTROLS, strip_whitespace=True)
]
"""A line of text."""

Note = Annotated[str, StringConstraints(max_length=4000, pattern=r"^[^\x00]*$")]
"""Free text."""

Words = Annotated[
    str,
    StringConstraints(min_length=1, max_length=4000, pattern=r"^[^\x00]*$", strip_whitespace=True),
]
"""Something said, of at least a letter."""

Strength = Annotated[float, Field(ge=0, le=1)]
"""How much of a layer is applied."""

Said = Annotated[AwareDatetime, Field(examples=["2025-06-14T09:30:00Z"])]
"""When something was said."""


class Model(BaseModel):
    """Base: strict about names, read from rows of the records."""

    model_config = ConfigDict(extra="forbid", from_attributes=True, frozen=True)


class BoxOut(Model):
    """Rectangle of pixels in the upright photograph, half-open."""

    top: int
    left: int
    bottom: int
    right: int


class ShootIn(Model):
    """A shoot to be made."""

    name: Text = Field(examples=["Summer regatta"])
    client: Annotated[str, StringConstraints(max_length=200, pattern=NO_CONTROLS)] = Field(
        "", examples=["Rowing club"]
    )


class ShootOut(Model):
    """A shoot."""

    id: Id
    name: str
    client: str
    created_at: datetime
    portraits: int = Field(description="How many portraits it has.")


class DeletedOut(Model):
    """What was deleted."""

    files: int = Field(description="Stored files.", examples=[12])
    bytes: int = Field(description="Their size together.", examples=[48210332])
    rows: dict[str, int] = Field(
        description="Entries by kind.", examples=[{"portraits": 3, "layers": 6}]
    )
    record_sha256: Sha256 | None = Field(
        description="Seal of the last entry of the record that went with a shoot."
    )
    overwritten: bool = Field(
        description="Nothing stays in pages or logs of the database; if not yet, then as soon as "
        "nobody reads an earlier moment of it. PostgreSQL does it in its own time."
    )


class ErasureIn(Model):
    """A person to erase."""

    name: Text = Field(examples=["Mara"])


class ErasedOut(Model):
    """What was erased, over all shoots."""

    shoots: int = Field(examples=[1])
    portraits: int = Field(description="Every one in which they were named.", examples=[3])
    entries: int = Field(description="Entries of records that named them.", examples=[7])
    files: int = Field(description="Stored files.", examples=[12])
    bytes: int = Field(description="Their size together.", examples=[48210332])
    overwritten: bool = Field(description="As for a deletion.")


class AppliedOut(Model):
    """A strength as a picture shows it."""

    person: Id
    step: str
    strength: Strength = Field(
        description="Of the layer: the studio's strength times the share that was chosen of it."
    )


class SignedOut(Model):
    """What of a portrait was signed."""

    sign_off: Id
    signed_by: str
    signed_at: datetime
    strengths: list[AppliedOut] = Field(
        description="Those of the picture that was signed; empty in sign-offs of earlier versions."
    )
    unlocked_at: datetime | None


class PortraitOut(Model):
    """A portrait."""

    id: Id
    shoot_id: Id
    name: str = Field(examples=["IMG_2041.jpg"])
    sha256: Sha256 = Field(description="Of the original file.")
    size: int = Field(description="Bytes of the original file.")
    media_type: str
    width: int | None = Field(description="Pixels of the upright photograph, once it is read.")
    height: int | None
    trouble: str | None = Field(description="Why it could not be read.")
    stars: int = Field(description="0 to 5, as the photographer gave them.")
    removed_at: datetime | None = Field(description="Since when it can only be brought back.")
    created_at: datetime
    state: Literal[
        "new", "unreadable", "to name", "to ask", "working", "to review", "with the client",
        "change asked for", "signed", "stale",
    ]  # fmt: skip
    locked: bool = Field(description="Signed: nothing in it is changed until it is unlocked.")
    signed: SignedOut | None = Field(description="What was signed, as long as it is not void.")


Portraits = Annotated[list[Id], Field(min_length=1, max_length=2000)]
"""Portraits of a shoot that something is done to."""


class RemovedIn(Model):
    """Portraits to be removed, or to be brought back."""

    portraits: Portraits
    removed: bool = True


class StarsIn(Model):
    """Stars for portraits."""

    portraits: Portraits
    stars: int = Field(ge=0, le=5)


class StrengthsIn(Model):
    """Strengths for everybody in some portraits, or for one person wherever they are."""

    portraits: list[Id] = Field([], max_length=2000, description="All of the shoot if none.")
    name: Text | None = Field(None, description="Only this person.", examples=["Mara"])
    strengths: dict[Text, Strength] = Field(
        min_length=1, max_length=20, examples=[{"redness": 0.8, "smoothing": 0.4}]
    )


class GivenOut(Model):
    """Whom strengths were given to."""

    people: int = Field(description="Counted in each portrait.")
    portraits: list[Id]


class ToneIn(Model):
    """The portrait that a person's others are matched to."""

    name: Text = Field(examples=["Mara"], description="The person's name as the studio gave it.")
    reference: Id = Field(description="A portrait of the shoot in which their skin is as wanted.")


class PresetIn(Model):
    """Strengths to be kept under a name; one of that name is replaced."""

    name: Text = Field(examples=["Evening light"])
    strengths: dict[Text, Strength] = Field(
        min_length=1, max_length=20, examples=[{"redness": 0.8, "smoothing": 0.4}]
    )


class PresetOut(PresetIn):
    """Strengths kept under a name."""

    id: Id


class DisplayColoursOut(Model):
    """How codes of a file become sRGB."""

    kind: Literal["same", "light", "table"] = Field(
        description="same: they are sRGB. light: for each of the 256 codes of red, then of green, "
        "then of blue, what it adds to red, green and blue light of sRGB. table: values of sRGB "
        "at 33 steps of each channel, red fastest, then green, then blue."
    )
    values: list[float]


class AddedOut(Model):
    """A portrait that was added, or was there before."""

    portrait: PortraitOut
    job: Id | None = Field(description="The job that finds people in it.")
    known: bool = Field(description="The shoot had this very file already.")


class PersonIn(Model):
    """What the photographer says of a person."""

    name: Text | None = Field(
        examples=["Mara"],
        description="The same name in other portraits of the shoot means the same person.",
    )
    child: bool = Field(False, description="A guardian must agree for a child.")


class PersonByHandIn(Model):
    """Somebody who was not found."""

    name: Text = Field(examples=["Mara"])
    child: bool = Field(False, description="A guardian must agree for a child.")
    mm_per_pixel: float | None = Field(
        None,
        gt=0,
        le=10,
        allow_inf_nan=False,
        description="Millimetres that a pixel covers on their skin; by the others in the "
        "portrait, or as if its longer side showed 600 mm, where it is not given.",
    )


class RegionOut(Model):
    """A region of a person."""

    region: str = Field(examples=["face-skin"])
    box: BoxOut


class PersonOut(Model):
    """A person found in a portrait."""

    id: Id
    index: int = Field(description="Number in the portrait, from 0, left to right.")
    name: str | None
    child: bool
    face: BoxOut | None
    confidence: float | None
    mm_per_pixel: float
    regions: list[RegionOut] = Field(description="Found, or painted.")
    agreed: list[str] = Field(description="Steps that this person agrees to now.")
    settings: dict[str, dict[str, Any]] = Field(description="What was set, by step.")
    by_hand: bool = Field(description="Added by the photographer, not found.")


Place = tuple[Annotated[int, Field(ge=0)], Annotated[int, Field(ge=0)]]
"""Column and row of the upright photograph."""


class BurnPointsIn(Model):
    """Points of a stroke that is still being drawn, with those there are."""

    burnt_at: list[Place] = Field([], examples=[[[640, 480]]])
    leave_at: list[Place] = []


class BurnOutlinesOut(Model):
    """Outlines of burns."""

    outlines: list[list[tuple[float, float]]] = Field(
        description="Closed lines, each a list of column and row in the upright photograph: "
        "around what redness would take off or ease, and around what it would spare inside that."
    )


class LayerOut(Model):
    """One step's change to one person."""

    id: Id
    person: Id
    step: str
    box: BoxOut
    cap: float = Field(description="Largest CIEDE2000 at strength 1.")
    strength: Strength
    painted: int = Field(description="Strokes that make it less strong in places, or more again.")
    settings: dict[str, Any]
    facts: dict[str, Any]
    findings: list[str] = Field(
        description="What the step found and did, in sentences.",
        examples=[["burn on neck and arm, taken off"]],
    )
    sha256: Sha256
    created_at: datetime


class StrokeOut(Model):
    """Where a layer was painted less strong, or stronger again."""

    id: Id
    person: Id
    step: str
    paint: Literal["less", "more"]
    amount: float = Field(
        description="Share of what is there that the stroke takes, or of what was taken that comes "
        "back."
    )
    box: BoxOut
    created_at: datetime


class StrengthIn(Model):
    """A strength."""

    strength: Strength = Field(examples=[0.6])


class MaskEditOut(Model):
    """What was painted into or out of a mask."""

    id: Id
    person: Id
    region: str
    paint: Literal["in", "out"]
    box: BoxOut
    created_at: datetime


class MarkOut(Model):
    """A mark."""

    id: Id
    person: Id
    number: int
    kind: Literal["passing", "lasting"]
    region: str
    size_mm: float
    row: float = Field(description="Place in the upright photograph, pixels.")
    column: float
    confidence: float
    proposed: Literal["keep", "remove"]
    decision: Literal["keep", "remove"] | None = Field(description="The studio's own.")
    shows: Literal["taken out", "left"] = Field(
        description="Its present state: what the picture shows of it."
    )
    wish: Literal["leave it", "please remove"] | None = Field(description="The client's.")


class DecisionIn(Model):
    """What is to become of a mark; null leaves it to the proposal."""

    decision: Literal["keep", "remove"] | None


Wish = Literal["leave it", "please remove"]
"""What a client may wish of a spot."""


class WishIn(Model):
    """The client's wish for a mark; null takes it back."""

    wish: Wish | None


class SaidIn(Model):
    """Something that a person, or their guardian, said about steps."""

    name: Text = Field(examples=["Mara"], description="The person's name as the studio gave it.")
    steps: list[Text] = Field(
        min_length=1,
        max_length=20,
        examples=[["redness", "smoothing"]],
        description=f"Names of steps; {LASTING_MARKS!r} is asked for by itself.",
    )
    said_by: SaidBy = SaidBy.PERSON
    role: Text | None = Field(None, examples=["mother"], description="Of the guardian.")
    how: How = How.IN_PERSON
    said_at: Said | None = Field(None, description="Now, if it is not given.")
    note: Note = ""


class SaidByLinkIn(Model):
    """The same, said by the person themselves through their link."""

    steps: list[Text] = Field(min_length=1, max_length=20, examples=[["redness"]])
    said_by: SaidBy = SaidBy.PERSON
    role: Text | None = None
    note: Note = ""


class PermissionOut(Model):
    """What was said."""

    id: Id
    name: str
    given: bool = Field(description="False where something was taken back.")
    steps: list[str]
    said_by: SaidBy
    role: str | None
    how: How
    said_at: datetime
    note: str
    recorded_at: datetime
    recorded_by: str


class PermissionsOut(Model):
    """What was said in a shoot, and what holds now."""

    said: list[PermissionOut]
    agreed: dict[str, list[str]] = Field(description="By person, what they agree to now.")


class WithdrawnOut(Model):
    """A withdrawal, and what it took out."""

    permission: PermissionOut
    portraits: list[Id]
    layers: int
    sign_offs: int = Field(description="Sign-offs voided.")
    finals: int = Field(description="Finals voided; their files are deleted.")
    files: int = Field(description="Files deleted.")


class NamedIn(Model):
    """A person of a shoot."""

    name: Text = Field(examples=["Mara"])
    lasts_days: float = Field(14, gt=0, le=365)


class LinkOut(Model):
    """A link."""

    id: Id
    token: str = Field(description="What opens it.")
    url: str | None = Field(
        description="The whole link, where the service was told its public address."
    )
    path: str = Field(
        examples=["/proof#evenhand_..."],
        description="Path of the page, the token behind the hash so that no server logs it.",
    )
    expires_at: datetime


class AskedOut(Model):
    """What a person is asked."""

    studio: StudioOut
    shoot: str
    name: str
    child: bool
    steps: dict[str, str] = Field(description="What can be agreed to, in plain words.")
    agreed: list[str]
    notices: dict[str, str]


class ProofIn(Model):
    """A proof to be made."""

    portraits: list[Id] = Field(min_length=1, max_length=500)
    strengths: list[Strength] = Field(
        [0.0, 0.5, 0.75, 1.0],
        min_length=3,
        max_length=4,
        description="Offered shares of the studio's strengths; 1 shows each layer as it is set.",
    )
    lasts_days: float = Field(14, gt=0, le=365)
    message: Note = ""


class ProofOut(Model):
    """A proof."""

    id: Id
    shoot_id: Id
    portraits: list[Id]
    strengths: list[float]
    message: str
    created_at: datetime
    expires_at: datetime | None
    revoked_at: datetime | None
    open: bool


class ProofMadeOut(Model):
    """A proof with its link."""

    proof: ProofOut
    link: LinkOut


class ChoiceIn(Model):
    """A chosen strength for a person and step."""

    person: Id
    step: Text
    strength: Strength


class ShownPersonOut(Model):
    """A person in a proof."""

    id: Id
    name: str | None
    steps: list[str] = Field(description="What can be chosen.")
    strengths: dict[str, Strength] = Field(
        description="The studio's own strength by step: what the whole of it, a share of 1, is."
    )


class ShownPortraitOut(Model):
    """A portrait in a proof."""

    id: Id
    name: str
    width: int
    height: int
    ready: bool = Field(description="False while changes are being worked in.")
    state_sha256: Sha256 = Field(description="Changes whenever its pictures look otherwise.")
    people: list[ShownPersonOut]
    marks: list[MarkOut]
    sign_off: SignOffOut | None
    round: int = Field(description="Which showing this is, from 1.")
    changes: list[ChangeOut] = Field(description="What was asked for here, oldest first.")


class ShownProofOut(Model):
    """What the client sees."""

    studio: StudioOut
    shoot: str
    message: str
    strengths: list[float]
    expires_at: datetime | None
    portraits: list[ShownPortraitOut]
    notices: dict[str, str]


class SeenIn(Model):
    """The picture that a client speaks of."""

    rendering: Sha256 = Field(description="From the Rendering header of the picture looked at.")
    side: int = Field(1600, ge=64, le=2400, description="Size of that picture.")
    choices: list[ChoiceIn] = Field([], max_length=500)


class SignIn(SeenIn):
    """A sign-off."""

    signed_by: Text = Field(examples=["Mara"])
    note: Note = ""


class SignOffOut(Model):
    """A sign-off."""

    id: Id
    proof_id: Id
    portrait_id: Id
    signed_by: str
    note: str
    choices: list[ChoiceIn]
    applied: list[AppliedOut] = Field(
        description="The strengths that the picture showed; empty in those of earlier versions."
    )
    rendering: Sha256 = Field(description="The hash it is bound to.")
    image_sha256: Sha256 = Field(description="Of the picture that was looked at; it is kept.")
    signed_at: datetime
    unlocked_at: datetime | None
    standing: Standing
    void_reason: str | None


class PlaceIn(Model):
    """A place in the upright photograph, pixels."""

    row: Annotated[float, Field(ge=0, le=10**6)]
    column: Annotated[float, Field(ge=0, le=10**6)]
    wish: Wish | None = Field(None, description="What is to become of a spot there.")


class ChangeIn(SeenIn):
    """A change that a client asks for."""

    asked_by: Text = Field(examples=["Mara"])
    words: Words = Field(examples=["A little less on my nose, please."])
    places: list[PlaceIn] = Field([], max_length=20, description="Where they pointed.")


class ChangeOut(Model):
    """A change that was asked for."""

    id: Id
    proof_id: Id
    portrait_id: Id
    round: int = Field(description="Of which showing of the portrait, from 1.")
    asked_by: str
    words: str
    places: list[PlaceIn]
    choices: list[ChoiceIn]
    rendering: Sha256 = Field(description="The hash it is bound to.")
    image_sha256: Sha256 | None = Field(
        description="Of the picture that was looked at; null once what it shows was taken back."
    )
    asked_at: datetime
    standing: asked_changes.Standing
    answer: str
    answered_at: datetime | None


class AnswerIn(Model):
    """The studio's answer; with it the portrait is shown again."""

    words: Note = Field("", examples=["Done: less on nose and cheeks."])


class LockIn(Model):
    """Whether a signed portrait is locked."""

    locked: bool
    why: Note = Field("", description="Kept in the record.")


class StudioIn(Model):
    """The studio's name, as its clients see it."""

    name: Annotated[
        str, StringConstraints(max_length=80, pattern=NO_CONTROLS, strip_whitespace=True)
    ] = Field(examples=["Studio by the lake"])


class StudioOut(Model):
    """The studio's name and mark, as its clients see them."""

    name: str
    mark_sha256: Sha256 | None = Field(description="Of the mark's picture, where there is one.")


FORMATS = (
    "original: the form of the original, which nothing outside the masks changes. jpeg: sRGB, 8 "
    "bits. tiff: depth and colours of the original. These two bear no metadata but what was done."
)
LONGEST_SIDE = "Of the final, pixels, never enlarged; for jpeg and tiff."


class FinalIn(Model):
    """A final to be made."""

    pattern: Text = Field(
        "{portrait}",
        description="Name of the file: plain text with {shoot}, {portrait} and {number}.",
        examples=["{shoot}-{number}"],
    )
    format: Format = Field(Format.ORIGINAL, description=FORMATS)
    longest_side: int | None = Field(None, ge=64, le=30000, description=LONGEST_SIDE)
    override: Note | None = Field(
        None, description="Why there is no valid sign-off; kept in the record."
    )


class SignedFinalsIn(Model):
    """The finals of all that is signed, to be made in one act."""

    pattern: Text = Field(
        "{portrait}",
        description="Name of each file: plain text with {shoot}, {portrait} and {number}.",
        examples=["{shoot}-{number}"],
    )
    format: Format = Field(Format.ORIGINAL, description=FORMATS)
    longest_side: int | None = Field(None, ge=64, le=30000, description=LONGEST_SIDE)


class LeftOut(Model):
    """A portrait that no final is made of."""

    portrait: Id
    name: str
    why: str
    advice: str


class SignedFinalsOut(Model):
    """What follows from asking for the finals of all that is signed."""

    jobs: list[JobOut] = Field(description="One for each final that is made.")
    made: list[Id] = Field(description="Portraits whose final is made like this already.")
    left: list[LeftOut] = Field(description="Portraits that are not signed, and why.")


class FinalOut(Model):
    """A final."""

    id: Id
    portrait_id: Id
    sign_off_id: Id | None
    override: str | None
    name: str
    media_type: str
    format: Format
    longest_side: int | None
    layers: list[dict[str, Any]] = Field(description="Person, step and strength applied.")
    sha256: Sha256 | None = Field(description="Null once it is voided: the file is deleted.")
    size: int
    created_at: datetime
    voided_at: datetime | None
    void_reason: str | None


class DeliveryIn(Model):
    """Finals to be packed; all portraits with a final where none are named."""

    portraits: list[Id] = Field([], max_length=2000)


class JobOut(Model):
    """A job."""

    id: Id
    shoot_id: Id
    portrait_id: Id | None
    kind: Kind
    state: State
    progress: float = Field(ge=0, le=1)
    doing: str
    result: dict[str, Any] | None
    trouble: str | None
    advice: str | None
    attempt: int
    created_at: datetime
    started_at: datetime | None
    finished_at: datetime | None


class TokenIn(Model):
    """A studio token to be made."""

    label: Text = Field(examples=["Laptop in the studio"])
    lasts_days: float = Field(STUDIO_LASTS.days, gt=0, le=3650)


class TokenOut(Model):
    """A token, without its secret."""

    id: Id
    scope: Scope
    label: str
    proof_id: Id | None
    shoot_id: Id | None
    created_at: datetime
    expires_at: datetime | None
    revoked_at: datetime | None


class TokenMadeOut(Model):
    """A new token."""

    token: TokenOut
    secret: str = Field(description="Told this once.")


class EntryOut(Model):
    """An entry of a shoot's record."""

    number: int
    at: datetime
    actor: str
    action: str
    facts: dict[str, Any]
    previous: Sha256
    sha256: Sha256


class RecordOut(Model):
    """A shoot's record."""

    shoot_id: Id
    whole: bool = Field(description="Every seal holds, and the signature of the last one.")
    signature: str | None = Field(
        description="Ed25519, hexadecimal, of 'evenhand record SHOOT NUMBER SHA256', those of the "
        "last entry."
    )
    public_key: str | None = Field(description="The studio's, hexadecimal, to check it with.")
    entries: list[EntryOut]


class AuditOut(Model):
    """Who asked for what."""

    at: datetime
    actor: str
    action: str
    subject: str
    outcome: str
    facts: dict[str, Any]


class StepOut(Model):
    """A step and its settings."""

    step: str
    settings: dict[str, Any] = Field(description="JSON Schema of its settings.")


class UploadOut(Model):
    """An upload on its way in."""

    id: Id
    name: str
    length: int
    offset: int
    expires_at: datetime
    portrait_id: Id | None


ShownPortraitOut.model_rebuild()
AskedOut.model_rebuild()
ShownProofOut.model_rebuild()
SignedFinalsOut.model_rebuild()
