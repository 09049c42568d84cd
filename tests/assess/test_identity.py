"""Which tellings name a part, which only fill a field; and what two tellings say of each other."""

from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from collector.assess.identity import another, compatible, fuller, fuller_location, positions, said, serial_of, shape
from collector.model import Identity, Kind, Location
from tests.assess.inventories import part
from tests.conftest import standard

# Common practice, no source.
JUNK = ["", "  ", "N/A", "n/a", "0", "None", "NULL", "Unknown", "To be filled by O.E.M.", "Not Specified", "00000000"]
JUNK += ["0000-0000-0000", "xxxxxxxx", "........", "123456789", "0123456789", "Default string", "FFFFFFFF", "-", "?"]


@pytest.mark.parametrize("told", JUNK)
def test_place_holders_say_nothing(told: str) -> None:
    assert said(told) is None
    assert serial_of(Identity(serial=told)) is None


@pytest.mark.parametrize("told", ["QD-1177", "5YJ3E1EA", "CN0001", "100000001", "12345678A", "2M220100SL"])
def test_serial_numbers_say_who(told: str) -> None:
    assert serial_of(Identity(serial=f" {told} ")) == told.casefold()


def test_the_published_examples_serial_numbers_are_taken() -> None:
    """DSP2043 has a serial number for nearly every part; two of them are counted up from 1."""
    told = [
        json.loads(path.read_text(encoding="utf-8")).get("SerialNumber")
        for path in sorted(standard("redfish", "mockups").glob("public-*/**/index.json"))
    ]
    serials = {serial for serial in told if isinstance(serial, str)}
    assert len(serials) > 30
    assert {serial for serial in serials if serial_of(Identity(serial=serial)) is None} <= {"123456", "1234567"}


@pytest.mark.parametrize("told", ["1.1", "2.2.2", "1", "A", "1.1.1.1", "11"])
def test_versions_say_which(told: str) -> None:
    assert said(told) == told.casefold()


@pytest.mark.parametrize(
    ("was", "now", "expected"),
    [
        (Identity(serial="AAAA1"), Identity(serial="AAAA2"), True),
        (Identity(serial="AAAA1"), Identity(serial=" aaaa1 "), False),
        (Identity(serial="AAAA1"), Identity(), False),
        (Identity(), Identity(serial="AAAA1"), False),
        (Identity(serial="AAAA1"), Identity(serial="N/A"), False),
        (Identity(serial="AAAA1", part_number="P1"), Identity(serial="AAAA1", part_number="P2"), False),
        (Identity(part_number="P1"), Identity(serial="AAAA1", part_number="P2"), True),
        (Identity(model="M1"), Identity(model="M2"), True),
        (Identity(model="M1", part_number="P"), Identity(model="M2", part_number="P"), False),
        (Identity(firmware="1"), Identity(firmware="2"), False),
        (Identity(), Identity(), False),
    ],
)
def test_another_part_or_the_same(was: Identity, now: Identity, expected: bool) -> None:
    assert another(Kind.DRIVE, was, now) is expected
    assert another(Kind.DRIVE, now, was) is expected


def test_a_new_wording_of_a_hosts_model_is_no_other_host() -> None:
    assert not another(Kind.HOST, Identity(model="M1"), Identity(model="M1 rev 2"))


def test_makers_count_alike() -> None:
    assert not compatible(
        Identity(serial="0001A", manufacturer="Orrery"), Identity(serial="0001A", manufacturer="Vane")
    )
    assert compatible(Identity(serial="0001A", manufacturer="Orrery"), Identity(serial="0001A"))


texts = st.none() | st.sampled_from(["", "N/A", "A1B2C3", "z9", "P-1"]) | st.text(max_size=6)
identities = st.builds(Identity, serial=texts, part_number=texts, model=texts, firmware=texts, manufacturer=texts)


@given(identities, identities)
def test_what_is_learned_is_kept_and_what_is_told_wins(was: Identity, now: Identity) -> None:
    both = fuller(was, now)
    for name in Identity.__struct_fields__:
        told, known = said(getattr(now, name)), said(getattr(was, name))
        assert said(getattr(both, name)) == (told if told is not None else known)
    assert fuller(both, now) == both
    assert not another(Kind.DRIVE, both, now)


def test_a_place_that_is_told_with_less_is_remembered_with_more() -> None:
    assert fuller_location(Location(site="Q", slot="BAY 1"), Location(site="Q", slot_index=1)) == Location(
        site="Q", slot="BAY 1", slot_index=1
    )


def test_rows_are_known_by_name_and_not_by_number() -> None:
    fans = [part(f"Sled/Thermal#/Fans/{row}", Kind.FAN, name=f"Fan {name}") for row, name in enumerate((1, 3, 4))]
    assert [key.rpartition("#")[2] for key in positions(fans)] == ["/Fans/=Fan 1", "/Fans/=Fan 3", "/Fans/=Fan 4"]
    same = [part(f"Sled/Thermal#/Fans/{row}", Kind.FAN, name="Fan") for row in range(3)]
    assert len(positions(same)) == 3
    assert positions([part("Sled")]) == {part("Sled").id: part("Sled")}


def test_shapes_leave_a_services_own_names_open() -> None:
    one = shape("c1:/redfish/v1/Systems/Blade1/Storage/Local/Drives/0")
    assert one == shape("c2:/redfish/v1/Systems/Node-A/Storage/S/Drives/left")
    assert one != shape("c1:/redfish/v1/Chassis/Blade1/Drives/0")
