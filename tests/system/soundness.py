"""Whether a page is sound to look at: no text cut, none on another, none too small to read, headings in order.

The check runs in the page, on what the browser has laid out: the rectangles of every line of every text, in the
document and in all shadow trees. axe-core (https://github.com/dequelabs/axe-core) checks what assistive tools need.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

AXE = Path(__file__).parents[2] / ".venv" / "npm" / "node_modules" / "axe-core" / "axe.min.js"

UNSOUND = """(least) => {
  const found = [];
  const say = (what, node) => found.push(`${what}: ${node.textContent.trim().slice(0, 60)}`);
  const roots = [document];
  const lines = [];
  const headings = [];
  const up = (each) => each.parentElement ?? (each.getRootNode().host ?? null);
  const shown = (element) => {
    for (let each = element; each !== null; each = up(each)) {
      const style = getComputedStyle(each);
      if (style.display === "none" || style.visibility === "hidden" || Number(style.opacity) === 0) return false;
      const box = each.getBoundingClientRect();
      // Said to assistive tools only, or until it gets the focus: a box of a pixel that hides what is in it.
      if (style.overflow === "hidden" && box.width <= 1.5 && box.height <= 1.5) return false;
      if (each.localName === "details" && !each.open && !element.closest("summary")) return false;
    }
    return true;
  };
  const scrolls = (style) => /auto|scroll/.test(style.overflowX);
  while (roots.length) {
    const root = roots.pop();
    for (const each of root.querySelectorAll("*")) if (each.shadowRoot) roots.push(each.shadowRoot);
    for (const each of root.querySelectorAll("h1, h2, h3, h4")) if (shown(each)) headings.push(each);
    const walker = document.createTreeWalker(root === document ? document.body : root, NodeFilter.SHOW_TEXT);
    for (let node = walker.nextNode(); node !== null; node = walker.nextNode()) {
      const owner = node.parentElement;
      if (owner === null || !node.data.trim()) continue;
      if (/^(script|style|title|desc|noscript|option)$/.test(owner.localName)) continue;
      if (!shown(owner)) continue;
      const range = document.createRange();
      range.selectNodeContents(node);
      const svg = owner.closest("svg");
      for (const box of range.getClientRects()) {
        if (box.width < 1 || box.height < 1) continue;
        const fixed = owner.closest("[class*=lost]") !== null;
        let clip = { left: 0, right: innerWidth, top: -Infinity, bottom: Infinity };
        let pannable = false;
        for (let each = owner; each !== null; each = up(each)) {
          if (each === document.body || each === document.documentElement || each.dataset?.testid === "stMain") break;
          const style = getComputedStyle(each);
          if (each.localName === "svg" && style.overflow === "visible") continue;
          if (style.overflowX === "visible" && style.overflowY === "visible") continue;
          if (style.display === "inline") continue;
          if (scrolls(style)) { pannable = true; break; }
          const outer = each.getBoundingClientRect();
          clip = { left: Math.max(clip.left, outer.left), right: Math.min(clip.right, outer.right),
                   top: Math.max(clip.top, outer.top), bottom: Math.min(clip.bottom, outer.bottom) };
        }
        if (!pannable && (box.left < clip.left - 1.5 || box.right > clip.right + 1.5)) say("cut at the side", node);
        if (!pannable && (box.top < clip.top - 3 || box.bottom > clip.bottom + 3)) say("cut above or below", node);
        if (svg !== null) {
          const frame = svg.getBoundingClientRect();
          if (box.left < frame.left - 1.5 || box.right > frame.right + 1.5
              || box.top < frame.top - 3 || box.bottom > frame.bottom + 3) say("outside its drawing", node);
          const face = owner.closest("g.blade")?.querySelector("rect")?.getBoundingClientRect();
          if (face && (box.left < face.left - 1.5 || box.right > face.right + 1.5)) say("outside its slot", node);
        }
        let size = parseFloat(getComputedStyle(owner).fontSize);
        if (svg !== null && owner.getScreenCTM?.()) size *= owner.getScreenCTM().d;
        if (size < least) say(`only ${size.toFixed(1)} px high`, node);
        if (!fixed) lines.push({ node, box, svg, size });
      }
      const style = getComputedStyle(owner);
      const dots = style.textOverflow === "ellipsis" && owner.scrollWidth > owner.clientWidth + 1;
      if (dots) say("cut by an ellipsis", node);
    }
  }
  // A line's box is higher than its letters: the middle part counts, as high as a letter without ascenders.
  const flat = lines.map(({ node, box, svg, size }) => {
    const middle = (box.top + box.bottom) / 2, half = Math.min(box.height / 2, 0.3 * size);
    return { node, svg, left: box.left + 1, right: box.right - 1, top: middle - half, bottom: middle + half };
  }).sort((a, b) => a.top - b.top);
  for (let one = 0; one < flat.length; one += 1) {
    for (let two = one + 1; two < flat.length && flat[two].top < flat[one].bottom; two += 1) {
      const a = flat[one], b = flat[two];
      if (a.node === b.node || a.left >= b.right || b.left >= a.right) continue;
      if (a.node.parentElement.closest("a, g") !== null
          && a.node.parentElement.closest("text") !== null
          && a.node.parentElement.closest("text") === b.node.parentElement.closest("text")) continue;
      say(`on "${b.node.textContent.trim().slice(0, 40)}"`, a.node);
    }
  }
  const order = (each) => Number(each.localName[1]);
  const levels = headings.map((each) => ({ each, top: each.getBoundingClientRect().top }));
  levels.sort((a, b) => a.top - b.top || order(a.each) - order(b.each));
  let before = 0;
  for (const { each } of levels) {
    if (order(each) > before + 1) say(`heading ${order(each)} after ${before}`, each);
    before = order(each);
  }
  if (levels.filter(({ each }) => order(each) === 1).length !== 1) found.push("not exactly one h1");
  if (document.documentElement.scrollWidth > innerWidth + 1) found.push("wider than the screen");
  const main = document.querySelector("[data-testid=stMain]");
  if (main !== null && main.scrollWidth > main.clientWidth + 1) found.push("the page scrolls sideways");
  return [...new Set(found)];
}"""
LEAST_SIZE = 7.5
"""CSS pixels below which nobody reads a letter (common practice, no source)."""


def complaints(page: Page, least: float = LEAST_SIZE) -> list[str]:
    """What is wrong with how the page is laid out."""
    found: list[str] = page.evaluate(UNSOUND, least)
    return found


def violations(page: Page) -> list[str]:
    """Serious and critical violations that axe-core finds, with the elements; skips the test where it is missing."""
    if not AXE.is_file():
        pytest.skip(f"axe-core is missing: there is no {AXE}; .ci/test installs it from npm")
    page.add_script_tag(path=AXE)
    result: dict[str, Any] = page.evaluate(
        """() => axe.run(document, {
            resultTypes: ["violations"],
            rules: { "target-size": { enabled: true } },
        })"""
    )
    return [
        f"{each['id']} ({each['impact']}): {node['html'][:160]}"
        for each in result["violations"]
        if each["impact"] in ("serious", "critical")
        for node in each["nodes"][:4]
    ]
