"""The event stream parser, against the WHATWG HTML standard, section 9.2.6 (its examples quoted from memory)."""

from __future__ import annotations

import json
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.redfish.notices import NoticeReader, Source
from collector.redfish.sse import MAX_RETRY, ServerEvent, Stream, refused
from tests.conftest import standard
from tests.redfish.flows import PLACE


def parse(data: bytes) -> list[ServerEvent]:
    return Stream().feed(data)


def test_example_stock_ticker() -> None:
    assert parse(b"data: YHOO\ndata: +2\ndata: 10\n\n") == [ServerEvent("YHOO\n+2\n10")]


def test_example_four_blocks() -> None:
    stream = Stream()
    events = stream.feed(b": test stream\n\ndata: first event\nid: 1\n\ndata:second event\nid\n\ndata:  third event\n")
    assert events == [ServerEvent("first event", id="1"), ServerEvent("second event", id="")]
    assert stream.comments == 1
    assert stream.last_id == ""  # the third block is incomplete: it never was an event


def test_example_empty_data() -> None:
    assert parse(b"data\n\ndata\ndata\n\ndata:") == [ServerEvent(""), ServerEvent("\n")]


def test_example_space_after_the_colon() -> None:
    assert parse(b"data:test\n\ndata: test\n\n") == [ServerEvent("test"), ServerEvent("test")]


@pytest.mark.parametrize("end", [b"\n", b"\r", b"\r\n"])
def test_all_line_ends(end: bytes) -> None:
    assert parse(end.join((b"event: x", b"data: 1", b"data: 2", b"", b""))) == [ServerEvent("1\n2", "x")]


def test_a_carriage_return_ends_a_line_without_waiting() -> None:
    stream = Stream()
    assert stream.feed(b"data: 1\r\r") == [ServerEvent("1")]
    assert stream.feed(b"\ndata: 2\r") == []
    assert stream.feed(b"\n") == []
    assert stream.feed(b"\r\n") == [ServerEvent("2")]


def test_byte_order_mark_at_the_start_only() -> None:
    assert parse(b"\xef\xbb\xbfdata: 1\n\n\xef\xbb\xbfdata: 2\n\n") == [ServerEvent("1")]


def test_ids() -> None:
    stream = Stream("before")
    events = stream.feed(b"data: a\n\nid: 7\ndata: b\n\ndata: c\n\nid: 8\0\ndata: d\n\nid: 9\n\n")
    assert [event.id for event in events] == ["before", "7", "7", "7"]  # an id with NULL is ignored
    assert stream.last_id == "9"  # an id without data still counts
    stream.feed(b"id: " + b"x" * 5000 + b"\n\n")
    assert stream.last_id == "9"  # it would not fit a header


def test_retry() -> None:
    stream = Stream()
    stream.feed(b"retry: 2500\n")
    assert stream.retry == 2.5
    stream.feed(b"retry: 1e3\nretry: -5\nretry:\nretry: \xd9\xa3\n")
    assert stream.retry == 2.5
    stream.feed(b"retry: " + b"9" * 5000 + b"\n")
    assert stream.retry == MAX_RETRY


def test_unknown_fields_and_bad_bytes() -> None:
    assert parse(b"colour: blue\nDATA: no\ndata: \xff\xc3\n\n") == [ServerEvent("\ufffd\ufffd")]


def test_what_is_too_big_is_dropped_and_the_stream_goes_on() -> None:
    stream = Stream(max_line=100, max_event=150)
    long_line = b"id: 1\ndata: " + b"x" * 200 + b"\n\n"
    many_lines = b"id: 2\n" + b"data: 0123456789\n" * 50 + b"\n"
    assert stream.feed(long_line + many_lines + b"id: 3\ndata: fine\n\n") == [ServerEvent("fine", id="3")]
    assert stream.dropped == 2
    assert stream.events == 1


def test_memory_is_bounded_for_an_endless_line() -> None:
    stream = Stream(max_line=1000, max_event=1000)
    for _ in range(1000):
        assert stream.feed(b"x" * 1000) == []
    assert len(stream._line) <= 1000
    assert stream.feed(b"\n\ndata: 1\n\n") == [ServerEvent("1")]


PIECES = [
    b"data",
    b"event",
    b"id",
    b"retry",
    b":",
    b": ",
    b" ",
    b"\n",
    b"\r",
    b"\r\n",
    b"\n\n",
    b"\0",
    b"\xef\xbb\xbf",
    b"7",
]
PIECES += [b"data: x\n", b"data: y\r\n\r\n", b"\xc3\xa9", b"\xc3", b"x" * 30]
STREAMS = st.lists(st.sampled_from(PIECES) | st.binary(max_size=4), max_size=40).map(b"".join)


@given(STREAMS, st.lists(st.integers(0, 400), max_size=12))
def test_any_cutting_gives_the_same_events(data: bytes, cuts: list[int]) -> None:
    whole, cut = Stream(max_line=25, max_event=40), Stream(max_line=25, max_event=40)
    expected = whole.feed(data)
    at = sorted({0, len(data), *(point for point in cuts if point < len(data))})
    events = [event for start, end in pairwise(at) for event in cut.feed(data[start:end])]
    assert events == expected
    assert vars(cut).keys() == vars(whole).keys()
    assert (cut.last_id, cut.retry, cut.dropped, cut.comments) == (
        whole.last_id,
        whole.retry,
        whole.dropped,
        whole.comments,
    )


def reference(data: bytes) -> list[ServerEvent]:
    """The standard's algorithm, step by step on the whole text; no bounds."""
    text = data.decode("utf-8", "replace")
    text = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
    events: list[ServerEvent] = []
    buffer, kind, last_id = "", "", ""
    for line in text.split("\n")[:-1]:
        if line == "":
            if buffer != "":
                events.append(ServerEvent(buffer.removesuffix("\n"), kind or "message", last_id))
            buffer, kind = "", ""
        elif not line.startswith(":"):
            field, _, value = line.partition(":")
            value = value.removeprefix(" ")
            if field == "event":
                kind = value
            elif field == "data":
                buffer += value + "\n"
            elif field == "id" and "\0" not in value:
                last_id = value
    return events


@given(STREAMS)
def test_it_does_what_the_standard_s_algorithm_does(data: bytes) -> None:
    assert parse(data) == reference(data)


def test_published_events_come_through_a_stream() -> None:
    data = b""
    for path in sorted(standard("redfish", "mockups", "non-resource-examples").glob("Event*.json")):
        lines = path.read_bytes().splitlines()
        data += (
            b"id: "
            + path.stem.encode()
            + b"\n"
            + b"".join(b"data: " + line + b"\n" for line in lines)
            + b"\n: alive\n\n"
        )
    events = parse(data)
    assert len(events) == 4
    reader = NoticeReader(PLACE)
    notices = [n for event in events for n in reader.event(json.loads(event.data), Source.SSE, 0.0).notices]
    assert len(notices) == 6
    assert events[-1].id == "EventExampleWithOrigin"


@pytest.mark.parametrize(
    ("status", "kind", "fine"),
    [
        (200, "text/event-stream", True),
        (200, "Text/Event-Stream; charset=utf-8", True),
        (200, "application/json", False),
        (200, "", False),
        (204, "text/event-stream", False),
        (404, "text/event-stream", False),
    ],
)
def test_what_is_a_stream(status: int, kind: str, fine: bool) -> None:
    assert (refused(status, kind) == "") is fine
