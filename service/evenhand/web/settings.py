"""Settings of the service, each from an ``EVENHAND_...`` variable of the environment."""

from __future__ import annotations

from pathlib import Path

from pydantic import AnyHttpUrl, Field
from pydantic_settings import BaseSettings, SettingsConfigDict

from evenhand.jobs.place import addresses_in


class ServiceSettings(BaseSettings):
    """How the service runs."""

    model_config = SettingsConfigDict(env_prefix="EVENHAND_", frozen=True, extra="forbid")

    data: Path = Field(
        Path("evenhand-data"),
        description="Folder of records and files, unless they have addresses.",
    )
    records: str | None = Field(
        None, description="Address of the records: sqlite:///FILE or postgresql://..."
    )
    files: str | None = Field(
        None, description="Address of the files: file:///FOLDER or s3://BUCKET/PREFIX?endpoint=..."
    )
    public_url: AnyHttpUrl | None = Field(
        None,
        description="Address at which clients reach the service, such as "
        "https://proofs.example.org; links are made with it.",
    )
    largest_upload_mb: int = Field(500, ge=1, le=20_000, description="Largest file, megabytes.")
    upload_hours: float = Field(
        24.0, gt=0, le=720, description="How long a broken-off upload can be resumed, hours."
    )
    preview_memory_mb: int = Field(
        768, ge=16, le=65_536, description="Memory for what previews are made from, megabytes."
    )
    most_connections: int = Field(
        400, ge=16, le=20_000, description="Connections open at the same time."
    )
    requests_per_minute: int = Field(
        6000, ge=10, le=100_000, description="Requests of one token in a minute."
    )
    guesses_per_minute: int = Field(
        20, ge=1, le=1000, description="Refused tokens from one address in a minute."
    )

    def public(self, path: str) -> str | None:
        """A path at the public address; None where none is set.

        Parameters
        ----------
        path : str
            Begins with a slash.

        Returns
        -------
        str or None
        """
        return None if self.public_url is None else str(self.public_url).rstrip("/") + path

    @property
    def scratch(self) -> Path:
        """Folder for temporary files where the files lie in no folder."""
        return self.data / "temporary"

    @property
    def addresses(self) -> tuple[str, str]:
        """Addresses of records and files."""
        records, files = addresses_in(self.data)
        return self.records or records, self.files or files
