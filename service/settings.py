"""What the environment decides, read once."""

from __future__ import annotations

from functools import cache
from importlib.resources import files
from pathlib import Path

from pydantic import Field
from pydantic_settings import BaseSettings, SettingsConfigDict

LOOPBACK = ("127.0.0.1", "::1", "localhost")


class Settings(BaseSettings):
    """Everything configurable. Environment variables carry the prefix OOID_ (OOID_DATA_DIR, OOID_DATABASE_URL, ...)."""

    model_config = SettingsConfigDict(env_prefix="OOID_", frozen=True, extra="ignore")

    data_dir: Path = Field(default=Path("ooid-data"), description="The one folder that holds everything by default.")
    database_url: str | None = Field(default=None, description="SQLAlchemy URL; default is SQLite in data_dir.")
    host: str = Field(default="127.0.0.1", description="The address to listen on.")
    port: int = Field(default=8017, ge=0, le=65535)
    insecure: bool = Field(default=False, description="Serve beyond loopback without TLS in front: an explicit risk.")
    body_limit_bytes: int = Field(default=8 * 1024 * 1024, ge=1024)
    photo_limit_bytes: int = Field(
        default=4 * 1024 * 1024, ge=1024, description="The largest picture taken; at most body_limit_bytes counts."
    )
    photos_of_site_limit_bytes: int = Field(
        default=20 * 1024**3, ge=0, description="All pictures of one site together, withdrawn ones included."
    )
    password_memory_kib: int = Field(
        default=65536, ge=8, description="Memory of one argon2id hash (RFC 9106, section 4)."
    )
    password_passes: int = Field(default=3, ge=1, description="Passes of argon2id over its memory.")
    password_lanes: int = Field(default=4, ge=1, le=64, description="Lanes of argon2id.")
    session_days: int = Field(default=14, ge=1, le=14, description="A person is signed out after so many days.")
    session_idle_hours: int = Field(default=96, ge=1, description="... and after so many hours without a request.")
    device_days: int = Field(default=30, ge=1, le=366, description="A shared device is closed after so many days.")
    device_idle_minutes: int = Field(
        default=5, ge=1, le=720, description="Whoever was picked there is signed out then."
    )
    waiting_writers: int = Field(default=256, ge=1, description="More writers waiting than this are answered 503.")

    @property
    def url(self) -> str:
        """The database URL in force; makes the data folder when it is the default SQLite one."""
        if self.database_url is not None:
            return self.database_url
        self.data_dir.mkdir(parents=True, exist_ok=True)
        return f"sqlite:///{(self.data_dir / 'ooid.db').absolute()}"


@cache
def packaged_folder(name: str) -> Path:
    """The folder `migrations`, `scenario` or `procedures`: inside an installed wheel, else in the checkout.

    Raises FileNotFoundError when neither place has it.
    """
    inside, beside = {
        "migrations": ("_migrations", "alembic"),
        "scenario": ("_shared/scenario", "shared/scenario"),
        "procedures": ("_shared/procedures", "shared/procedures"),
    }[name]
    package = Path(str(files("service")))
    for folder in (package / inside, package.parent / beside):
        if folder.is_dir():
            return folder
    raise FileNotFoundError(f"the folder of {name} is missing from this installation")
