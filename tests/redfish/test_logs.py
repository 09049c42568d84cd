"""Reading logs: against an invented log that behaves in every way seen, and the published ones (DMTF DSP2043)."""

from __future__ import annotations

import re
from typing import Any

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from collector.model import DefectKind
from collector.redfish.flow import Answer, Ask
from collector.redfish.log_cursor import SEEN, Bounds, Cursor, Order, Upset
from collector.redfish.log_places import LogPlace, log_place
from collector.redfish.logs import UNCONDITIONAL, LogRead, read_log
from tests.conftest import standard
from tests.redfish.flows import NOT_FOUND, PLACE, examples, from_folder, published, run

LOG = "/redfish/v1/Managers/M/LogServices/Log/Entries"
T0 = 1_700_000_000


class Log:
    """A log service. ``keep``: entries after which it writes over the oldest."""

    def __init__(
        self,
        *,
        newest_first: bool = False,
        page: int = 10_000,
        bare: bool = False,
        skip: bool = False,
        etag: bool = False,
        dated: bool = True,
        keep: int = 10_000,
        restart_ids: bool = True,
    ) -> None:
        self.newest_first = newest_first
        self.page = page
        self.bare = bare
        self.skip = skip
        self.etag = etag
        self.dated = dated
        self.keep = keep
        self.restart_ids = restart_ids
        self.entries: list[dict[str, Any]] = []
        self.next_id = 1
        self.made = 0
        self.clock = T0
        self.asked: list[Ask] = []
        self.fail: dict[str, Answer] = {}

    def add(self, count: int) -> None:
        for _ in range(count):
            self.clock += 1
            self.made += 1
            path = f"{LOG}/{self.next_id}"
            body = {"@odata.id": path, "Id": str(self.next_id), "Message": f"n{self.made}"}
            if self.dated:
                body["Created"] = f"2025-01-01T{self.made // 3600:02}:{self.made // 60 % 60:02}:{self.made % 60:02}Z"
            self.entries.append(body)
            self.next_id += 1
        self.entries = self.entries[-self.keep :]

    def clear(self) -> None:
        self.entries = []
        if self.restart_ids:
            self.next_id = 1

    def there(self) -> set[str]:
        return {body["Message"] for body in self.entries}

    def __call__(self, ask: Ask) -> Answer:
        self.asked.append(ask)
        if ask.path in self.fail:
            return self.fail[ask.path]
        path, _, query = ask.path.partition("?")
        if path != LOG:
            return next((Answer(200, body) for body in self.entries if body["@odata.id"] == path), NOT_FOUND)
        etag = f'"{self.made}-{len(self.entries)}"' if self.etag else ""
        if etag and ask.etag == etag:
            return Answer(304, etag=etag)
        options: dict[str, str] = dict(re.findall(r"\$(\w+)=(\d+)", query))
        if ("skip" in options or "top" in options) and not self.skip:
            return Answer(501)
        ordered = self.entries[::-1] if self.newest_first else self.entries
        start = int(options.get("skip", options.get("skiptoken", "0")))
        end = start + min(self.page, int(options.get("top", "100000")))
        members = ordered[start:end]
        if self.bare:
            members = [{"@odata.id": body["@odata.id"]} for body in members]
        body = {"Members": members, "Members@odata.count": len(ordered)}
        if end < len(ordered) and "top" not in options:
            body["Members@odata.nextLink"] = f"{LOG}?$skiptoken={end}"
        return Answer(200, body, etag=etag)


class Keeper:
    """Reads a log round after round, its cursor going through the store each time."""

    def __init__(self, log: Log, bounds: Bounds | None = None) -> None:
        self.log = log
        self.cursor = Cursor(entries=LOG)
        self.bounds = bounds
        self.told: list[str] = []
        self.history: list[str] = []
        self.upsets: list[Upset] = []

    def poll(self) -> LogRead:
        read = run(read_log(self.cursor, PLACE, self.bounds, can_skip=self.log.skip), self.log)
        self.cursor = msgspec.json.decode(msgspec.json.encode(read.cursor), type=Cursor)
        (self.history if read.history else self.told).extend(item.body["Message"] for item in read.items)
        self.upsets.append(read.upset)
        return read

    def drain(self) -> None:
        for _ in range(200):
            if not self.poll().more:
                return
        raise AssertionError("no end")


def numbers(*spans: tuple[int, int]) -> list[str]:
    return [f"n{n}" for first, last in spans for n in range(first, last + 1)]


KINDS = [
    {},
    {"newest_first": True},
    {"page": 10},
    {"page": 10, "newest_first": True},
    {"page": 10, "skip": True},
    {"skip": True, "page": 10, "newest_first": True},
    {"bare": True, "restart_ids": False},
    {"bare": True, "page": 10, "newest_first": True, "restart_ids": False},
    {"etag": True},
    {"etag": True, "page": 10},
    {"dated": False, "restart_ids": False},
    {"dated": False, "page": 10, "newest_first": True, "restart_ids": False},
]


@pytest.mark.parametrize("kind", KINDS, ids=str)
def test_each_entry_is_told_once_and_in_order(kind: dict[str, Any]) -> None:
    log = Log(**kind)
    keeper = Keeper(log)
    log.add(5)
    keeper.drain()
    assert keeper.history == numbers((1, 5))
    for count in (1, 0, 3, 7, 1, 4):
        log.add(count)
        keeper.drain()
    assert keeper.told == numbers((6, 21))
    assert set(keeper.upsets) == {Upset.NONE}


@pytest.mark.parametrize("kind", KINDS, ids=str)
def test_an_empty_log_and_its_first_entry(kind: dict[str, Any]) -> None:
    log = Log(**kind)
    keeper = Keeper(log)
    keeper.drain()
    log.add(1)
    keeper.drain()
    assert (keeper.history, keeper.told) == ([], ["n1"])


@pytest.mark.parametrize("kind", KINDS, ids=str)
def test_a_cleared_log(kind: dict[str, Any]) -> None:
    log = Log(**kind)
    keeper = Keeper(log)
    log.add(20)
    keeper.drain()
    log.clear()
    log.add(3)
    keeper.drain()
    assert keeper.told == numbers((21, 23))
    if log.restart_ids:
        assert Upset.CLEARED in keeper.upsets
    log.clear()
    keeper.drain()
    log.add(2)
    keeper.drain()
    assert keeper.told == numbers((21, 25))


@pytest.mark.parametrize("newest_first", [False, True])
@pytest.mark.parametrize("page", [10_000, 10])
@pytest.mark.parametrize("skip", [False, True])
def test_a_log_that_writes_over_its_oldest(newest_first: bool, page: int, skip: bool) -> None:
    log = Log(newest_first=newest_first, page=page, skip=skip, keep=30)
    keeper = Keeper(log)
    log.add(40)
    keeper.drain()
    for _ in range(20):
        log.add(7)
        keeper.drain()
    assert keeper.told == numbers((41, 180))
    assert set(keeper.upsets) == {Upset.NONE}
    log.add(100)  # more than it keeps
    keeper.drain()
    assert keeper.told[140:] == numbers((251, 280))
    assert keeper.upsets[-1] is Upset.OVERRUN


def test_history_of_a_long_log_is_bounded_a_round() -> None:
    log = Log(page=10)
    keeper = Keeper(log, Bounds(requests=4))
    log.add(200)
    first = keeper.poll()
    assert first.more
    assert first.requests == 4
    log.add(5)  # while history is still being read
    keeper.drain()
    assert keeper.history == numbers((1, 205))
    log.add(3)
    log.asked.clear()
    keeper.drain()
    assert keeper.told == numbers((206, 208))
    assert len(log.asked) <= 2  # it begins where the log ended


def test_a_round_stops_before_it_brings_too_much() -> None:
    for newest_first in (False, True):
        log = Log(page=50, newest_first=newest_first)
        log.add(1)
        keeper = Keeper(log, Bounds(requests=50, entries=256))
        keeper.drain()
        log.add(240)
        keeper.drain()
        assert keeper.told == numbers((2, 241))
        log.add(1000)
        keeper.drain()
        if newest_first:  # what lies further back can't be reached any more
            assert keeper.told[240:] == numbers((992, 1241))
            assert keeper.upsets[-1] is Upset.OVERRUN
        else:
            assert keeper.told == numbers((2, 1241))
            assert set(keeper.upsets) == {Upset.NONE}


def test_with_skip_a_long_log_costs_two_requests_at_first_and_then_one() -> None:
    log = Log(page=10_000, skip=True)
    log.page = 1000
    log.add(5000)
    keeper = Keeper(log)
    keeper.drain()
    assert len(log.asked) == 2
    assert keeper.history == numbers((4951, 5000))
    for _ in range(5):
        log.add(3)
        log.asked.clear()
        keeper.drain()
        assert [ask.path for ask in log.asked] == [f"{LOG}?$skip={len(log.entries) - 4}&$top=50"]
    log.add(120)
    log.asked.clear()
    keeper.drain()
    assert len(log.asked) == 3
    assert keeper.told == numbers((5001, 5135))


def test_newest_first_costs_one_request_however_long() -> None:
    log = Log(page=50, newest_first=True)
    log.add(5000)
    keeper = Keeper(log)
    keeper.drain()
    log.add(20)
    log.asked.clear()
    keeper.drain()
    assert [ask.path for ask in log.asked] == [LOG]
    assert keeper.told == numbers((5001, 5020))


def test_unchanged_logs_cost_a_304_and_are_asked_in_full_now_and_then() -> None:
    log = Log(etag=True)
    log.add(3)
    keeper = Keeper(log)
    keeper.drain()
    for _ in range(2 * UNCONDITIONAL + 2):
        keeper.poll()
    conditional = [bool(ask.etag) for ask in log.asked[1:]]
    assert conditional == ([True] * UNCONDITIONAL + [False]) * 2
    log.add(1)
    keeper.poll()
    assert keeper.told == ["n4"]


def test_a_clock_set_back_hides_nothing() -> None:
    log = Log()
    log.add(5)
    keeper = Keeper(log)
    keeper.drain()
    log.add(2)
    for body in log.entries[-2:]:
        body["Created"] = "2001-01-01T00:00:00Z"
    keeper.drain()
    assert keeper.told == ["n6", "n7"]
    log.clear()
    log.add(1)
    log.entries[0]["Created"] = "1970-01-01T00:00:09Z"
    keeper.drain()
    assert keeper.told == ["n6", "n7", "n8"]


def test_a_cleared_log_of_the_same_length_and_a_lost_clock() -> None:
    log = Log()
    log.add(5)
    keeper = Keeper(log)
    keeper.drain()
    log.clear()
    log.add(5)
    for body in log.entries:
        body["Created"] = "1970-01-01T00:00:09Z"
    keeper.drain()
    assert keeper.told == numbers((6, 10))
    assert keeper.upsets[-1] is Upset.CLEARED


def test_a_burst_longer_than_a_round_of_entries_without_number_and_time() -> None:
    log = Log(page=10, dated=False)
    log.add(15)
    for body in log.entries:
        body["Id"] = body["@odata.id"] = f"{LOG}/{body['Message']}"
    keeper = Keeper(log, Bounds(requests=3))
    keeper.drain()
    log.add(95)
    for body in log.entries:
        body["Id"] = body["@odata.id"] = f"{LOG}/{body['Message']}"
    assert keeper.poll().more
    keeper.drain()
    assert keeper.told == numbers((16, 110))
    assert set(keeper.upsets) == {Upset.NONE}


def test_not_modified_hides_nothing_that_was_put_off() -> None:
    log = Log(bare=True, etag=True)
    log.add(1)
    keeper = Keeper(log, Bounds(requests=4))
    keeper.drain()
    log.add(10)
    keeper.drain()
    assert keeper.told == numbers((2, 11))


def test_deleting_single_entries_brings_nothing_back() -> None:
    log = Log()
    log.add(SEEN + 50)
    keeper = Keeper(log)
    keeper.drain()
    del log.entries[-SEEN:]
    keeper.drain()
    assert keeper.told in ([], numbers((1, 50)))  # looks like a cleared log, which may tell again what is left
    log.add(1)
    keeper.drain()
    assert keeper.told[-1] == f"n{SEEN + 51}"


def test_an_entry_inserted_out_of_order() -> None:
    log = Log()
    log.add(10)
    keeper = Keeper(log)
    keeper.drain()
    log.add(1)
    log.entries.insert(3, log.entries.pop())
    keeper.drain()
    assert keeper.told == ["n11"]


def test_a_failing_page_takes_nothing_and_loses_nothing() -> None:
    for newest_first in (False, True):
        log = Log(page=10, newest_first=newest_first)
        log.add(35)
        keeper = Keeper(log)
        keeper.drain()
        log.add(25)
        before = keeper.cursor
        log.fail = {f"{LOG}?$skiptoken={at}": Answer(503) for at in range(0, 100, 10)}
        read = keeper.poll()
        assert read.items == ()
        assert [defect.kind for defect in read.defects] == [DefectKind.HTTP_ERROR]
        assert keeper.cursor == before
        log.fail = {}
        keeper.drain()
        assert keeper.told == numbers((36, 60))


def test_links_only_entries_wait_for_their_turn() -> None:
    log = Log(bare=True)
    log.add(100)
    keeper = Keeper(log, Bounds(requests=8))
    keeper.drain()
    assert keeper.history == numbers((93, 100))
    log.add(30)
    assert keeper.poll().more
    assert keeper.told == numbers((101, 108))
    log.fail = {f"{LOG}/110": Answer(429), f"{LOG}/112": NOT_FOUND}
    keeper.poll()
    assert keeper.told == numbers((101, 109))
    log.fail.pop(f"{LOG}/110")
    keeper.drain()
    assert keeper.told == numbers((101, 111), (113, 130))


def test_loops_and_dead_ends() -> None:
    log = Log()
    log.add(3)
    body = log(Ask("GET", LOG)).body

    def looping(ask: Ask) -> Answer:
        number = int(ask.path.partition("=")[2] or 0)
        return Answer(200, {**body, "Members@odata.nextLink": f"{LOG}?n={number + 1}"})

    asked: list[Ask] = []
    read = run(read_log(Cursor(entries=LOG), PLACE), looping, asked)
    assert len(read.items) == 3
    assert [defect.kind for defect in read.defects] == [DefectKind.LINK_LOOP]
    assert len(asked) == 2
    again = run(read_log(read.cursor, PLACE), looping, asked)
    assert again.defects == ()
    assert len(asked) == 3  # once is enough

    def endless(ask: Ask) -> Answer:
        number = int(ask.path.partition("=")[2] or 0)
        member = {"@odata.id": f"{LOG}/{number}", "Id": str(number), "Message": "m"}
        return Answer(200, {"Members": [member], "Members@odata.nextLink": f"{LOG}?n={number + 1}"})

    cursor, asked = Cursor(entries=LOG), []
    for _ in range(5):
        read = run(read_log(cursor, PLACE), endless, asked)
        cursor = read.cursor
    assert len(asked) == 40
    assert len(cursor.seen) <= SEEN


@pytest.mark.parametrize(
    ("answer", "kind"),
    [
        (NOT_FOUND, DefectKind.DANGLING_LINK),
        (Answer(500), DefectKind.HTTP_ERROR),
        (Answer(200, {}), DefectKind.MISSING),
        (Answer(200, {"Members": {}}), DefectKind.MISSING),
        (Answer(200, unread=(DefectKind.NOT_JSON, "it is markup")), DefectKind.NOT_JSON),
    ],
)
def test_what_can_t_be_read_is_a_defect_and_the_cursor_stays(answer: Answer, kind: DefectKind) -> None:
    cursor = Cursor(entries=LOG, settled=True, seen=(1, 2), number=7)
    read = run(read_log(cursor, PLACE), lambda ask: answer)
    assert read.cursor == cursor
    assert [defect.kind for defect in read.defects] == [kind]


def test_members_that_are_no_links() -> None:
    members = [5, {}, {"@odata.id": "https://elsewhere.example/1"}, {"@odata.id": f"{LOG}/1", "Message": "m"}, None]
    read = run(read_log(Cursor(entries=LOG), PLACE), lambda ask: Answer(200, {"Members": members}))
    assert [item.path for item in read.items] == [f"{LOG}/1"]
    assert [defect.property for defect in read.defects] == [f"/Members/{at}" for at in (0, 1, 2, 4)]


def test_a_declared_skip_that_does_not_work() -> None:
    log = Log(page=10)
    log.add(60)
    keeper = Keeper(log, Bounds(requests=20))
    read = run(read_log(keeper.cursor, PLACE, keeper.bounds, can_skip=True), log)
    assert len(read.items) == 60
    assert DefectKind.CONTRADICTION in {defect.kind for defect in read.defects}

    def ignoring(ask: Ask) -> Answer:
        return log(Ask(ask.method, re.sub(r"\?\$skip=\d+&\$top=\d+", "", ask.path)))

    read = run(read_log(Cursor(entries=LOG), PLACE, keeper.bounds, can_skip=True), ignoring)
    assert len(read.items) == 60


BOUNDS = [Bounds(), Bounds(requests=3), Bounds(entries=15), Bounds(requests=2, entries=15, page=7)]
OPS = st.lists(
    st.tuples(st.sampled_from(["add", "add", "poll", "poll", "clear"]), st.integers(1, 25)), min_size=1, max_size=25
)


@settings(max_examples=400, deadline=None)
@given(st.sampled_from(KINDS), OPS, st.sampled_from([10_000, 40]), st.sampled_from(BOUNDS))
def test_whatever_happens_nothing_is_told_twice_or_lost(
    kind: dict[str, Any], ops: list[tuple[str, int]], keep: int, bounds: Bounds
) -> None:
    log = Log(**{**kind, "keep": keep})
    keeper = Keeper(log, bounds)
    made_before: int | None = None
    """Entries made before history was read to its end."""
    for op, count in [*ops, ("drain", 0)]:
        if op == "add":
            log.add(count)
        elif op == "clear":
            log.clear()
        elif op == "poll":
            keeper.poll()
        else:
            keeper.drain()
        if keeper.cursor.settled and made_before is None:
            made_before = log.made
    every = keeper.history + keeper.told
    assert len(every) == len(set(every))
    assert made_before is not None
    assert all(int(name[1:]) > made_before for name in keeper.told)
    if Upset.OVERRUN not in keeper.upsets:
        assert {name for name in log.there() if int(name[1:]) > made_before} <= set(keeper.told)


# Published logs


def test_every_published_log_is_read_without_fault_but_its_false_next_links() -> None:
    logs = 0
    for where, body in published("LogService"):
        if not where.startswith("public-"):
            continue
        place = log_place(body, PLACE, where)
        assert place is not None, where
        service = from_folder(standard("redfish", "mockups", where.split("/")[0]))
        read = run(read_log(Cursor(entries=place.entries), PLACE), service)
        expected = next(b for w, b in examples() if w == f"{where.split('/')[0]}{place.entries[11:]}/index.json")
        assert [item.path for item in read.items] == [member["@odata.id"] for member in expected["Members"]]
        # redfish-notes, quirk 16: nextLink on complete pages in four of them
        assert len(read.defects) == (1 if "@odata.nextLink" in expected else 0), where
        asked: list[Ask] = []
        again = run(read_log(read.cursor, PLACE), service, asked)
        assert (again.items, again.defects, len(asked)) == ((), (), 1)
        logs += 1
    assert logs >= 18


def test_log_services() -> None:
    body = {"Entries": {"@odata.id": LOG}, "MaxNumberOfRecords": 1000}
    assert log_place(body, PLACE, "/redfish/v1/L/") == LogPlace(LOG, "/redfish/v1/L", 1000)
    assert log_place({**body, "ServiceEnabled": False}, PLACE, "/l") is None
    assert log_place({**body, "Status": {"State": "Disabled"}}, PLACE, "/l") is None
    assert log_place({}, PLACE, "/l") is None


def test_the_cursor_stays_small() -> None:
    log = Log(page=50)
    log.add(3000)
    keeper = Keeper(log)
    keeper.drain()
    assert keeper.cursor.order is Order.OLDEST_FIRST
    assert len(keeper.cursor.seen) == SEEN
    assert len(msgspec.msgpack.encode(keeper.cursor)) < 1500
