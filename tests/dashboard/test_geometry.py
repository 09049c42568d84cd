"""Bays from sizes and slot numbers."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from dashboard.drawings.geometry import Item, arrange
from dashboard.drawings.things import Bay


def test_four_single_height_blades_stand_two_by_two_in_reading_order() -> None:
    arranged = arrange(436, 86, [Item(slot, 208, 40) for slot in range(4)])
    assert arranged.to_scale
    gap_x, gap_y = (436 - 416) / 3, (86 - 80) / 3
    left, right = gap_x, 2 * gap_x + 208
    top, bottom = 2 * gap_y + 40, gap_y
    corners = [(round(bay.x, 6), round(bay.y, 6)) for bay in arranged.bays]
    assert corners == [
        (round(x, 6), round(y, 6)) for x, y in ((left, top), (right, top), (left, bottom), (right, bottom))
    ]
    assert {(bay.width, bay.height) for bay in arranged.bays} == {(208, 40)}


def test_two_double_height_blades_stand_beside_each_other() -> None:
    arranged = arrange(436, 86, [Item(0, 208, 82), Item(1, 208, 82)])
    assert [bay.y for bay in arranged.bays] == [2, 2]
    assert arranged.bays[0].x + 208 < arranged.bays[1].x


def test_a_missing_slot_number_leaves_its_bay_empty() -> None:
    arranged = arrange(436, 86, [Item(0, 208, 40), Item(3, 208, 40), Item(2, 208, 40)])
    assert [slot for slot, _ in arranged.empty] == [1]
    assert arranged.bays[1].y == arranged.bays[2].y < arranged.bays[0].y
    assert arranged.bays[2].x < arranged.bays[1].x


def test_without_sizes_the_width_is_shared_and_not_called_to_scale() -> None:
    arranged = arrange(400, 80, [Item(0, None, None), Item(1, 208, 40)])
    assert arranged.bays == (Bay(0, 0, 200, 80), Bay(200, 0, 200, 80))
    assert not arranged.to_scale


def test_blades_that_do_not_fit_share_the_width() -> None:
    assert not arrange(436, 86, [Item(slot, 300, 86) for slot in range(3)]).to_scale


def test_slot_numbers_told_twice_or_absurd_are_not_believed() -> None:
    for slots in ((1, 1), (0, 10**9), (-1, 0), (None, 4)):
        arranged = arrange(436, 86, [Item(slot, 208, 82) for slot in slots])
        assert len(arranged.bays) == 2
        assert arranged.empty == ()


@given(
    st.lists(
        st.builds(
            Item,
            st.one_of(st.none(), st.integers(-5, 80)),
            st.one_of(st.none(), st.floats(1, 900)),
            st.one_of(st.none(), st.floats(1, 400)),
        ),
        min_size=1,
        max_size=12,
    )
)
def test_bays_lie_within_the_front_and_never_overlap(items: list[Item]) -> None:
    width, height = 450.0, 88.9
    arranged = arrange(width, height, items)
    bays = [*arranged.bays, *(bay for _, bay in arranged.empty)]
    assert len(arranged.bays) == len(items)
    for place, bay in enumerate(bays):
        assert bay.x >= -1e-6
        assert bay.x + bay.width <= width * 1.03 + 1e-6
        assert bay.y >= -height * 0.03 - 1e-6
        for other in bays[place + 1 :]:
            apart = (
                bay.x + bay.width <= other.x + 1e-6
                or other.x + other.width <= bay.x + 1e-6
                or bay.y + bay.height <= other.y + 1e-6
                or other.y + other.height <= bay.y + 1e-6
            )
            assert apart
