"""Readings under any order of actions: what the service holds is what a plain dictionary says it should."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any
from uuid import UUID, uuid4

import pytest
from hypothesis import HealthCheck, Phase, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    Bundle,
    RuleBasedStateMachine,
    initialize,
    multiple,
    rule,
    run_state_machine_as_test,
)
from support.house import START, House

from service.storage.trail import faults

VALUES = st.integers(60, 110).map(lambda tenths: tenths / 10)  # dKH, all of them plausible
WHO = st.sampled_from(["keeper", "supervisor"])
CHANGER = st.sampled_from(["whoever recorded it", "keeper", "supervisor"])
BEHIND = st.sampled_from([0, 0, 1])  # versions that If-Match lags behind


@dataclass
class Known:
    """What a reading should be."""

    sent: dict[str, Any]
    by: str
    at: Any
    values: list[float] = field(default_factory=list)
    is_withdrawn: bool = False
    versions: int = 1


class Readings(RuleBasedStateMachine):
    """Two people record, repeat, clash, correct, withdraw, wait and read back; `house` is set on a subclass."""

    house: House
    ids = Bundle("ids")

    @initialize()
    def move_in(self) -> None:
        """A site of its own for each run."""
        self.house.now = START  # the same run again must see the same times
        self.known: dict[str, Known] = {}
        self.keys: dict[tuple[str, int], str] = {}
        self.site = self.house.a_site()
        self.system = self.house.a_system(self.site)["id"]
        self.tokens = {role: self.house.token(role, site=self.site["id"]) for role in ("keeper", "supervisor")}

    @rule(target=ids, value=VALUES, who=WHO)
    def record(self, value: float, who: str) -> str:
        """A new reading."""
        sent = {"subject_id": self.system, "quantity": "alkalinity", "value": value, "unit": "dKH"}
        sent["taken_at"] = self.house.now.isoformat()
        reading_id = str(uuid4())
        self.house.call("PUT", f"/v1/readings/{reading_id}", sent, token=self.tokens[who], status=201)
        self.known[reading_id] = Known(sent, who, self.house.now, [value])
        return reading_id

    @rule(target=ids, value=VALUES, who=WHO, key=st.integers(0, 2))
    def record_by_key(self, value: float, who: str, key: int) -> Any:
        """The same key again is the same reading when the content is the same, else it is refused."""
        sent = {"subject_id": self.system, "quantity": "alkalinity", "value": value, "unit": "dKH"}
        sent["taken_at"] = START.isoformat()
        headers = {"Idempotency-Key": f"{self.site['id']} {key}"}
        response = self.house.send("POST", "/v1/readings", json=sent, headers=headers, token=self.tokens[who])
        earlier = self.keys.get((who, key))
        if earlier is None:
            assert response.status_code == 201
            reading_id = response.json()["id"]
            self.keys[who, key] = reading_id
            self.known[reading_id] = Known(sent, who, self.house.now, [value])
            return reading_id
        assert response.status_code == (200 if self.known[earlier].sent == sent else 422)
        return multiple()

    @rule(reading_id=ids, who=WHO)
    def repeat(self, reading_id: str, who: str) -> None:
        """What was first sent confirms, whoever sends it and whatever it became since; the answer is the present."""
        sent = self.known[reading_id].sent
        answer = self.house.call("PUT", f"/v1/readings/{reading_id}", sent, token=self.tokens[who], status=200)
        self.compare(answer)

    @rule(reading_id=ids, value=VALUES, who=WHO)
    def clash(self, reading_id: str, value: float, who: str) -> None:
        """Other content under a known id is refused, also that of its present version."""
        sent = self.known[reading_id].sent
        if value != sent["value"]:
            path = f"/v1/readings/{reading_id}"
            self.house.call("PUT", path, {**sent, "value": value}, token=self.tokens[who], status=409)

    @rule(reading_id=ids, value=VALUES, who=CHANGER, behind=BEHIND)
    def correct(self, reading_id: str, value: float, who: str, behind: int) -> None:
        """A correction by whoever may, of the version that stands."""
        known = self.known[reading_id]
        status = self.change(reading_id, "corrections", {"value": value, "reason": "look again"}, who, behind)
        if status == 200:
            known.values.append(value)
            known.versions += 1

    @rule(reading_id=ids, who=CHANGER, behind=BEHIND)
    def withdraw(self, reading_id: str, who: str, behind: int) -> None:
        """A withdrawal by whoever may, of the version that stands."""
        known = self.known[reading_id]
        if self.change(reading_id, "withdrawal", {"reason": "another tank"}, who, behind) == 200:
            known.is_withdrawn = True
            known.versions += 1

    def change(self, reading_id: str, what: str, body: dict[str, Any], who: str, behind: int) -> int:
        """The status of a change, which must be the one that the model expects."""
        known = self.known[reading_id]
        who = who if who in self.tokens else known.by
        is_late = (self.house.now - known.at).total_seconds() > 24 * 3600
        if who == "keeper" and (known.by != who or is_late):
            expected = 403
        elif behind:
            expected = 412
        elif known.is_withdrawn:
            expected = 409
        else:
            expected = 422 if body.get("value") == known.values[-1] else 200  # a correction that changes nothing
        headers = {"If-Match": f'"{known.versions - behind}"'}
        path = f"/v1/readings/{reading_id}/{what}"
        self.house.call("POST", path, body, headers=headers, token=self.tokens[who], status=expected)
        return expected

    @rule(hours=st.sampled_from([1, 20, 30]))
    def wait(self, hours: int) -> None:
        """Time passes: a keeper corrects own records for 24 hours only."""
        self.house.pass_time(hours=hours)

    @rule(limit=st.integers(1, 3), withdrawn=st.booleans())
    def page_through(self, limit: int, withdrawn: bool) -> None:
        """Small pages give every reading once, the newest first."""
        path = f"/v1/readings?site={self.site['tag']}&limit={limit}&withdrawn={str(withdrawn).lower()}"
        found: list[dict[str, Any]] = []
        while path:
            response = self.house.send("GET", path, token=self.tokens["keeper"])
            found += response.json()
            assert len(found) <= len(self.known), "a page repeats rows"
            path = response.links["next"]["url"] if "next" in response.links else ""
        for answer in found:
            self.compare(answer)
        expected = {key for key, known in self.known.items() if withdrawn or not known.is_withdrawn}
        assert sorted(answer["id"] for answer in found) == sorted(expected)
        times = [self.known[answer["id"]].sent["taken_at"] for answer in found]
        assert times == sorted(times, reverse=True)

    @rule(reading_id=ids)
    def look_back(self, reading_id: str) -> None:
        """Every version is there, the first first."""
        known = self.known[reading_id]
        versions = self.house.call("GET", f"/v1/readings/{reading_id}/versions")
        assert [version["version"] for version in versions] == list(range(1, known.versions + 1))
        assert [version["value"] for version in versions][: len(known.values)] == known.values

    @rule()
    def read_the_feed(self) -> None:
        """The feed has one change a version; its last word on each reading is the model's."""
        path = f"/v1/changes?site={self.site['tag']}&limit=1000"
        changes = [change for change in self.house.call("GET", path)["changes"] if change["kind"] == "reading"]
        assert len(changes) == sum(known.versions for known in self.known.values())
        assert {change["id"]: change["version"] for change in changes} == {
            key: known.versions for key, known in self.known.items()
        }

    def compare(self, answer: dict[str, Any]) -> None:
        """An answer against the model."""
        known = self.known[answer["id"]]
        assert (answer["version"], answer["value"]) == (known.versions, known.values[-1])
        assert answer["state"] == ("withdrawn" if known.is_withdrawn else "recorded")

    def teardown(self) -> None:
        """After everything the chain is whole."""
        if "site" in self.__dict__:
            self.read_the_feed()
            with self.house.database.read() as session:
                assert list(faults(session, UUID(self.site["id"]))) == []


@pytest.mark.filterwarnings("ignore::hypothesis.errors.NonInteractiveExampleWarning")
def test_readings_hold_under_any_order_of_actions(house: House) -> None:
    machine = type("Machine", (Readings,), {"house": house})
    run_state_machine_as_test(
        machine,
        settings=settings(
            max_examples=14,
            stateful_step_count=30,
            derandomize=True,
            deadline=None,
            database=None,
            phases=[Phase.generate],
            suppress_health_check=list(HealthCheck),
        ),
    )
