"""Every row belongs to a site, and every query is held to the sites its caller may know of."""

from __future__ import annotations

import ast
from collections.abc import Iterator

import pytest
import sqlalchemy as sa
from sqlmodel import SQLModel
from support.requirements import CHECKOUT

import service.main  # noqa: F401 - every table
from service.storage.base import metadata
from service.storage.types import Identifier, Instant

INSTALLATION_WIDE = {
    "sites": "a site is its own",
    "methods": "the catalogue is everybody's",
    "lots": "the catalogue is everybody's",
    "people": "a person may work on several sites",
    "sign_in_links": "signs a person in",
    "browser_sessions": "a person signed in",
    "passwords": "a person's",
    "pins": "a person's",
    "sign_in_attempts": "of names and addresses that may be nobody's",
    "pin_tries": "of a person on a device, which has the site",
    "chain_heads": "`chain_id` is the site, or the installation",
    "audit_entries": "`chain_id` is the site, or the installation",
    "events": "`chain_id` is the site, or the installation",
}
MAY_BE_WITHOUT_A_SITE = {
    "grants": "a role on the whole installation has none",
    "tokens": "a token for the whole installation has none",
}
HELD = {"Scope", "Work", "Caller"}
FOUND_BEFORE = {"UUID", *(mapper.class_.__name__ for mapper in SQLModel._sa_registry.mappers)}
CATALOGUE = "service/resources/catalogue"  # everybody's


def tables() -> list[sa.Table]:
    """Every table, by name."""
    return sorted(metadata.tables.values(), key=lambda table: table.name)


def test_the_list_of_exemptions_names_tables_that_exist() -> None:
    assert {*INSTALLATION_WIDE, *MAY_BE_WITHOUT_A_SITE} <= set(metadata.tables)


@pytest.mark.parametrize("table", tables(), ids=lambda table: str(table.name))
def test_a_row_belongs_to_a_site(table: sa.Table) -> None:
    if table.name in INSTALLATION_WIDE:
        assert "site_id" not in table.c, "this table has a site: take it off the list"
        return
    assert "site_id" in table.c, "give it a site_id, or list it above with the reason"
    assert table.c.site_id.nullable == (table.name in MAY_BE_WITHOUT_A_SITE)
    assert any(key.parent is table.c.site_id for key in table.foreign_keys), (
        "site_id must refer to its site, alone or with a subject"
    )


@pytest.mark.parametrize("table", tables(), ids=lambda table: str(table.name))
def test_a_subject_is_on_the_rows_own_site(table: sa.Table) -> None:
    for constraint in table.foreign_key_constraints:
        if constraint.referred_table.name == "subjects":
            assert next(column.name for column in constraint.columns) == "site_id", (
                f"{table.name}: refer to subjects by (site_id, id), or a row could be on another site's tank"
            )


@pytest.mark.parametrize("table", tables(), ids=lambda table: str(table.name))
def test_ids_and_instants_have_their_own_small_types(table: sa.Table) -> None:
    for column in table.columns:
        assert not isinstance(column.type, sa.Uuid | sa.DateTime), f"{column}: use Identifier or Instant"
        if column.name == "id" or column.name.endswith("_id"):
            assert isinstance(column.type, Identifier), f"{column}: use Identifier"
        if column.name == "at" or column.name.endswith("_at"):
            assert isinstance(column.type, Instant), f"{column}: use Instant"


@pytest.mark.parametrize("table", tables(), ids=lambda table: str(table.name))
def test_every_constraint_and_index_has_a_name_that_postgresql_keeps(table: sa.Table) -> None:
    names = [str(thing.name) for thing in [*table.constraints, *table.indexes]]
    assert [name for name in names if name == "None" or len(name) > 63] == []


def queries() -> Iterator[tuple[str, ast.FunctionDef]]:
    """Every public function of a queries module: its file and definition."""
    for path in sorted((CHECKOUT / "service").rglob("queries.py")):
        for node in ast.parse(path.read_text()).body:
            if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
                yield path.relative_to(CHECKOUT).as_posix(), node


def is_held(function: ast.FunctionDef) -> bool:
    """Whether a query of the database is told whose sites it may touch, or which rows, found within them before."""
    arguments = [*function.args.posonlyargs, *function.args.args, *function.args.kwonlyargs]
    annotations = [_names(argument.annotation) for argument in arguments]
    opens_the_database = any("Session" in names for names in annotations)
    return not opens_the_database or any(names & (HELD | FOUND_BEFORE) for names in annotations)


def _names(annotation: ast.expr | None) -> set[str]:
    return set() if annotation is None else {node.id for node in ast.walk(annotation) if isinstance(node, ast.Name)}


def test_the_walk_over_queries_sees_them() -> None:
    assert len(list(queries())) >= 5


@pytest.mark.parametrize(
    ("file", "function"), [pytest.param(*query, id=f"{query[0]}:{query[1].name}") for query in queries()]
)
def test_a_query_takes_the_scope_of_its_caller(file: str, function: ast.FunctionDef) -> None:
    assert file.startswith(CATALOGUE) or is_held(function), (
        "take the caller's Scope (or Work), so that another site's rows stay out of reach"
    )


@pytest.mark.parametrize(
    ("text", "held"),
    [
        ("def every(session: Session, tag: str): ...", False),
        ("def every(session: Session, scope: Scope, tag: str): ...", True),
        ("def of_these(session: Session, ids: Sequence[UUID]): ...", True),
        ("def in_force(history: Sequence[SetPoint], at: datetime): ...", True),
    ],
)
def test_the_walk_tells_a_query_without_bounds(text: str, held: bool) -> None:
    (function,) = ast.parse(text).body
    assert isinstance(function, ast.FunctionDef)
    assert is_held(function) == held
