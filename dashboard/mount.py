"""Puts markup made here onto a page, and takes it in again when it changes, without a jump or a flicker.

Streamlit's own HTML element drops SVG (its sanitiser runs with the HTML profile only), so this is a component of ours:
a shadow tree with our style sheet, into which a small script patches what changed. The markup is escaped where it is
made (:mod:`dashboard.drawings.ink`); the script keeps only elements and attributes of its own list besides.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

import streamlit as st

from dashboard.drawings.ink import Ink
from dashboard.drawings.sheet import CSS
from dashboard.viewer import prefer, preferences

_PLAIN = re.compile(r"[\w.-]*", re.ASCII)

SCRIPT = """
const SILENCE = 15000;
const TAGS = new Set(("a abbr b button caption circle code col dd defs details div dl dt em figcaption figure footer "
  + "form g h1 h2 h3 header i input label li main nav ol p path pattern rect section small span strong summary svg "
  + "table tbody td text tfoot th thead time title tr tspan ul").split(" "));
const NAMES = new Set(("class colspan cx cy d dx dy datetime fill for height href id maxlength name open patternUnits "
  + "r role rowspan rx ry scope tabindex title transform type value viewBox width x xmlns y").split(" "));
const HERE = /^\\.\\/(?:\\?[^#]*)?(?:#.*)?$/;

function keep(name, value) {
  return (NAMES.has(name) || /^(aria|data)-[a-z-]+$/.test(name)) && (name !== "href" || HERE.test(value));
}

function make(from) {
  if (from.nodeType === Node.TEXT_NODE) return document.createTextNode(from.data);
  if (from.nodeType !== Node.ELEMENT_NODE || !TAGS.has(from.localName)) return document.createTextNode("");
  const made = document.createElementNS(from.namespaceURI, from.localName);
  for (const { name, value } of from.attributes) if (keep(name, value)) made.setAttribute(name, value);
  for (const child of from.childNodes) made.append(make(child));
  return made;
}

function same(there, from) {
  return there.nodeType === from.nodeType && there.localName === from.localName
    && there.namespaceURI === from.namespaceURI
    && (there.nodeType !== Node.ELEMENT_NODE || there.getAttribute("id") === from.getAttribute("id"));
}

function patch(there, from) {
  if (there.nodeType === Node.TEXT_NODE) {
    if (there.data !== from.data) there.data = from.data;
    return;
  }
  for (const { name } of [...there.attributes])
    if (!from.hasAttribute(name) && name !== "open") there.removeAttribute(name);
  for (const { name, value } of from.attributes)
    if (keep(name, value) && there.getAttribute(name) !== value
        && !(name === "open" && there.localName === "details")) there.setAttribute(name, value);
  patchChildren(there, from);
}

function patchChildren(there, from) {
  const wanted = [...from.childNodes];
  wanted.forEach((node, index) => {
    const old = there.childNodes[index];
    if (old === undefined) there.append(make(node));
    else if (same(old, node)) patch(old, node);
    else old.replaceWith(make(node));
  });
  while (there.childNodes.length > wanted.length) there.lastChild.remove();
}

const shown = new WeakMap();
const revealed = new WeakMap();
const watched = new WeakMap();

function watch(parent, beat) {
  const known = watched.get(parent);
  if (known !== undefined && known.beat === beat) return;
  if (known !== undefined) clearTimeout(known.timer);
  const lost = parent.querySelector(".lost");
  lost.hidden = true;
  const timer = setTimeout(() => {
    lost.textContent = "The pages' server does not answer: what you see stands still. Reload to try again.";
    lost.hidden = false;
  }, SILENCE);
  watched.set(parent, { beat, timer });
}

// What a person just asked for comes into sight where it is not: below a drawing on a phone.
function reveal(sheet, again) {
  const wanted = [...sheet.querySelectorAll("[data-reveal]")].pop() ?? null;
  const name = wanted === null ? null : wanted.dataset.reveal;
  const before = revealed.get(sheet);
  revealed.set(sheet, name);
  if (!again || name === null || name === before) return;
  if (wanted.getBoundingClientRect().top > innerHeight * 0.8) wanted.scrollIntoView({ block: "start" });
}

export default function ({ parentElement, data, setTriggerValue }) {
  const sheet = parentElement.querySelector(".sheet");
  if (data.beat !== null) watch(parentElement, data.beat);
  sheet.classList.toggle("still", data.still);
  for (const [name, value] of Object.entries(data.cookies))
    document.cookie = `${name}=${value};path=/;max-age=31536000;samesite=lax`;
  sheet.onclick = (event) => {
    const picked = event.target.closest("[data-pick], [data-prefer], [data-print]");
    if (picked === null || event.ctrlKey || event.metaKey || event.shiftKey || event.altKey) return;
    event.preventDefault();
    if (picked.dataset.print !== undefined) return print();
    if (picked.dataset.prefer === undefined) return setTriggerValue("pick", picked.dataset.pick);
    setTriggerValue("prefer", picked.dataset.prefer);
  };
  if (shown.get(sheet) === data.body) return;
  if (!shown.has(sheet)) sheet.style.setProperty("--phase", `-${performance.now() % 1000}ms`);
  const document_ = new DOMParser().parseFromString(data.body, "application/xhtml+xml");
  if (document_.querySelector("parsererror") !== null) throw new Error("the page's markup is not well-formed");
  patchChildren(sheet, document_.documentElement);
  reveal(sheet, shown.has(sheet));
  shown.set(sheet, data.body);
}
"""

_component = st.components.v2.component(
    "sledkeeper_sheet",
    html='<div class="sheet"></div><div class="lost" role="alert" hidden></div>',
    css=CSS,
    js=SCRIPT,
    isolate_styles=True,
)


def document(*pieces: Ink | None) -> str:
    """The pieces as one well-formed document."""
    body = "".join(piece for piece in pieces if piece is not None)
    return f'<div xmlns="http://www.w3.org/1999/xhtml">{body}</div>'


def show(
    key: str,
    *pieces: Ink | None,
    beat: float | None = None,
    on_pick: Callable[[str], None] | None = None,
    cookies: Mapping[str, str] | None = None,
) -> None:
    """Show markup under a key of its own on the page.

    ``beat`` changes with every look at the store: the place that gets it says so when no new one comes. ``on_pick`` is
    called, before the page is drawn again, with the ``data-pick`` of what the person picked in the markup.
    ``cookies``: names and values, of letters, digits, ``_``, ``-`` and ``.`` only, for the browser to keep for a year.
    """
    kept = dict(cookies or {})
    if any(not _PLAIN.fullmatch(word) for pair in kept.items() for word in pair):
        raise ValueError("a cookie that is not plain")
    body, still = document(*pieces), preferences().still
    data: dict[str, Any] = {"body": body, "beat": beat, "still": still, "cookies": kept}

    def said(what: str) -> str:
        state: Any = st.session_state[key]
        return str(state.get(what) or "")

    def picked() -> None:
        if on_pick is not None and (what := said("pick")):
            on_pick(what)

    def preferred() -> None:
        if words := said("prefer"):
            prefer(words)

    _component(key=key, data=data, on_pick_change=picked, on_prefer_change=preferred)
