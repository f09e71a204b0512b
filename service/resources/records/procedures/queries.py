"""The procedures that come with the service."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from types import MappingProxyType

from service.errors import Fault, NotFound
from service.resources.records.procedures.models import Procedure
from service.settings import packaged_folder


@cache
def procedures() -> Mapping[str, Procedure]:
    """Every procedure by its code, read strictly. Raises ValueError naming the file that cannot be read."""
    found = [read(path) for path in sorted(packaged_folder("procedures").glob("*.toml"))]
    return MappingProxyType({procedure.code: procedure for procedure in found})


def read(path: Path) -> Procedure:
    """One file. Raises ValueError naming it when it cannot be read or does not say what a procedure says."""
    try:
        procedure = Procedure.model_validate(tomllib.loads(path.read_text("utf-8")))
    except ValueError as error:
        raise ValueError(f"{path.name}: {error}") from error
    if procedure.code != path.stem:
        raise ValueError(f"{path.name}: the file is named by its code, {procedure.code}")
    return procedure


def named(code: str, *, pointer: str = "/procedure", place: str = "body") -> Procedure:
    """The procedure of this code. Raises NotFound naming the field."""
    found = procedures().get(code)
    if found is None:
        detail = f"There is no such procedure; there are {', '.join(procedures())}."
        raise NotFound(detail, (Fault(pointer, detail, code, place),))
    return found
