"""Reading markup back, as a browser does: it must be well-formed before anything else."""

from __future__ import annotations

from xml.etree import ElementTree

SVG = "{http://www.w3.org/2000/svg}"


def parse(markup: str) -> ElementTree.Element:
    """The markup as one tree."""
    return ElementTree.fromstring(f"<div>{markup}</div>")


def find(tree: ElementTree.Element, **attributes: str) -> list[ElementTree.Element]:
    """Elements with these attributes; ``_`` stands for ``-``; an empty value for any."""
    wanted = {name.replace("_", "-").rstrip("-"): value for name, value in attributes.items()}
    return [
        each
        for each in tree.iter()
        if all(name in each.attrib and value in ("", each.attrib[name]) for name, value in wanted.items())
    ]


def one(tree: ElementTree.Element, **attributes: str) -> ElementTree.Element:
    """The only element with these attributes."""
    found = find(tree, **attributes)
    assert len(found) == 1, f"{len(found)} elements with {attributes}"
    return found[0]


def words(tree: ElementTree.Element) -> str:
    """All text in it, white space made one."""
    return " ".join(" ".join(tree.itertext()).split())


def rect(element: ElementTree.Element, css: str) -> tuple[float, float, float, float]:
    """x, y, width, height of the first rectangle with that class in an element."""
    found = next(each for each in element.iter() if each.tag.endswith("rect") and css in each.get("class", "").split())
    return tuple(float(found.get(side, "0")) for side in ("x", "y", "width", "height"))  # type: ignore[return-value]
