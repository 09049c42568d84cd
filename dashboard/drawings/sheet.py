"""The one style sheet: what the classes of drawings and panels look like, light and dark, wide and narrow.

Colours come from theme.toml through the variables that Streamlit makes of it; only the lamps have their own.
"""

from __future__ import annotations

from dashboard.drawings.lamps import AMBER, BEZEL, BLUE, PERIOD, RIM
from dashboard.drawings.sheet_rounds import ROUNDS
from dashboard.drawings.sheet_sled import SLED

_COLOURS = """
.sheet {
  --ink: var(--st-text-color); --ground: var(--st-background-color); --shade: var(--st-secondary-background-color);
  --rule: var(--st-border-color); --quiet: var(--st-gray-text-color);
  --critical: var(--st-red-color); --critical-tint: var(--st-red-background-color);
  --warning: var(--st-yellow-color); --warning-tint: var(--st-yellow-background-color);
  --ok: var(--st-green-color); --ok-tint: var(--st-green-background-color);
  --unknown: var(--st-gray-color); --unknown-tint: var(--st-gray-background-color);
  --risk: var(--st-violet-color); --risk-tint: var(--st-violet-background-color);
  color: var(--ink); font-family: var(--st-font); font-size: 1rem; line-height: 1.45;
  overflow-wrap: anywhere;
}
.is-ok { --this: var(--ok); --tint: var(--ok-tint); }
.is-warning { --this: var(--warning); --tint: var(--warning-tint); }
.is-critical { --this: var(--critical); --tint: var(--critical-tint); }
.is-unknown { --this: var(--unknown); --tint: var(--unknown-tint); }
.is-at-risk { --this: var(--risk); --tint: var(--risk-tint); }
"""

_MARKS = """
.mark .stroke { fill: none; stroke: var(--this); stroke-width: 2; stroke-linejoin: miter; }
.mark .solid { fill: var(--this); }
.mark .cut { fill: none; stroke: var(--ground); stroke-width: 1.7; }
.badge { vertical-align: -0.08em; margin-right: 0.4em; overflow: visible; flex: none; }
.worded { white-space: normal; }
.worded em { color: var(--this); font-style: normal; }
.worded > span { color: var(--this); font-weight: 600; }
.worded.is-ok > span, .worded.is-unknown > span { font-weight: 400; }
"""

_DRAWN = """
svg text { font-family: var(--st-font); fill: var(--ink); font-variant-numeric: tabular-nums; }
svg.rack { max-width: 100%; height: auto; display: block; }
svg.rack .within { fill: var(--shade); }
svg.rack .rail { fill: var(--rule); }
svg.rack .post { stroke: var(--unknown); stroke-width: 2; fill: none; }
svg.rack .open-end { stroke: var(--unknown); stroke-width: 2; stroke-dasharray: 3 5; fill: none; }
svg .tick { stroke: var(--quiet); stroke-width: 1; fill: none; }
svg .ruler { font-size: 10px; text-anchor: end; fill: var(--quiet); }
svg .case { fill: var(--ground); stroke: var(--quiet); stroke-width: 1; }
svg .size-not-told .case { stroke-dasharray: 4 3; }
svg .ear { fill: var(--ground); stroke: var(--quiet); stroke-width: 1; }
svg .ear.is-critical, svg .ear.is-warning { fill: var(--tint); stroke: var(--this); }
svg .face { fill: var(--ground); stroke: var(--unknown); stroke-width: 1; }
svg .face.is-critical { fill: var(--tint); stroke: var(--this); stroke-width: 2; }
svg .face.is-warning { fill: var(--tint); stroke: var(--this); stroke-width: 2; }
svg .face.is-unknown { stroke-dasharray: 2 2; }
svg .face.absent { fill: none; stroke: var(--rule); stroke-dasharray: 1 3; }
svg .hatched { fill: url(#hatch); stroke: var(--risk); stroke-width: 1.5; }
svg .hatching { stroke: var(--risk); stroke-opacity: 0.38; stroke-width: 1; fill: none; }
svg .slot { font-size: 11px; text-anchor: end; }
svg .alone, svg .said { font-size: 11.5px; }
svg .said { fill: var(--ink); }
svg .word { fill: var(--this); font-weight: 600; }
svg .word.is-ok, svg .word.is-unknown { font-weight: 400; }
svg a { cursor: pointer; }
svg a:hover .case, svg a:hover .ear { stroke: var(--ink); stroke-width: 1.6; }
svg a:focus-visible { outline: 3px solid var(--st-primary-color); outline-offset: 1px; }
svg.front { width: 100%; max-width: 36rem; height: auto; display: block; }
svg.front .slot { font-size: 12px; text-anchor: start; font-weight: 600; }
svg.front .slot.empty { fill: var(--quiet); font-weight: 400; }
svg.front .small { font-size: 11px; fill: var(--quiet); }
svg .carrier { fill: var(--ground); stroke: var(--unknown); stroke-width: 1; }
svg .carrier.is-critical, svg .carrier.is-warning { fill: var(--tint); stroke: var(--this); stroke-width: 1.5; }
"""

_LAMPS = f"""
.panel {{ vertical-align: -0.3em; margin-right: 0.5em; flex: none; }}
.lamps .bezel {{ fill: {BEZEL}; stroke: {RIM}; stroke-width: 0.75; }}
.lamp .rim {{ fill: none; stroke: {RIM}; stroke-width: 1; }}
.lamp.blue {{ --lens: {BLUE}; }}
.lamp.amber {{ --lens: {AMBER}; }}
.lamp .lit, .lamp .half {{ fill: var(--lens); }}
.lamp .half {{ display: none; }}
.lamp .dark {{ stroke: {RIM}; stroke-width: 1.5; fill: none; }}
.lamp .ask {{ fill: {RIM}; font-size: 11px; text-anchor: middle; font-weight: 700; }}
@keyframes lamp-blink {{ 0% {{ opacity: 1; }} 50% {{ opacity: 0; }} 100% {{ opacity: 0; }} }}
.lamp .blink {{ animation: lamp-blink {PERIOD:g}s step-end infinite; animation-delay: var(--phase, 0s); }}
.still .lamp .blink {{ animation: none; opacity: 0; }}
.still .lamp .half {{ display: inline; }}
@media (prefers-reduced-motion: reduce) {{
  .lamp .blink {{ animation: none; opacity: 0; }}
  .lamp .half {{ display: inline; }}
}}
"""

_LINES = """
svg.strip { display: block; margin-top: 0.15rem; max-width: 100%; }
svg .bed { fill: var(--shade); stroke: var(--rule); }
svg .zone { fill: var(--tint); stroke: none; }
svg .limit { stroke: var(--quiet); stroke-width: 1; fill: none; }
svg .needle { stroke: var(--ink); stroke-width: 2.4; fill: none; }
svg.chart { width: 100%; max-width: 34rem; height: auto; display: block; }
svg .grid { stroke: var(--rule); stroke-width: 0.5; fill: none; }
svg .moment { font-size: 10px; text-anchor: middle; fill: var(--quiet); }
svg .samples { fill: none; stroke: var(--ink); stroke-width: 1.5; stroke-linejoin: round; stroke-linecap: round; }
svg .threshold { stroke: var(--this); stroke-width: 1.2; stroke-dasharray: 6 3; fill: none; }
svg.chart .said { font-size: 9.5px; fill: var(--this); paint-order: stroke; stroke: var(--ground); stroke-width: 3px; }
svg.chart .to-left { text-anchor: end; }
"""

_PANELS = """
.sheet h1 { font-size: 1.6rem; line-height: 1.2; margin: 0; font-weight: 650; }
.sheet h2 { font-size: 1.12rem; margin: 1.5rem 0 0.5rem; padding-top: 0.6rem; border-top: 2px solid var(--ink);
  font-weight: 650; display: flex; flex-wrap: wrap; gap: 0.1rem 0.9rem; align-items: baseline; }
.sheet h2 .count { font-weight: 400; font-size: 0.92rem; color: var(--quiet); }
.sheet h3 { font-size: 0.98rem; margin: 1rem 0 0.3rem; font-weight: 650; }
.sheet p { margin: 0.3rem 0; }
.sheet a { color: var(--st-link-color); text-underline-offset: 0.15em; }
.sheet a:focus-visible, .sheet button:focus-visible, .sheet summary:focus-visible {
  outline: 3px solid var(--st-primary-color); outline-offset: 2px; }
.sheet code { font-family: var(--st-code-font); font-size: 0.9em; background: var(--shade); padding: 0.1em 0.35em; }
.head { display: flex; flex-wrap: wrap; gap: 0.3rem 1.2rem; align-items: baseline; }
.head .mast { color: var(--quiet); font-size: 0.92rem; letter-spacing: 0.02em; }
.head .mast a { color: inherit; }
.told { color: var(--quiet); font-size: 0.92rem; margin-top: 0.25rem; }
.told b { color: var(--ink); font-weight: 600; }
.notice { border: 2px solid var(--this, var(--unknown)); border-left-width: 10px; background: var(--tint, var(--shade));
  padding: 0.6rem 0.9rem; margin: 0.7rem 0; }
.notice p:first-child { font-weight: 600; margin-top: 0; }
.notice code { background: var(--ground); }
.nothing { color: var(--quiet); }
.small { font-size: 0.85rem; color: var(--quiet); }
.legend { display: flex; flex-wrap: wrap; gap: 0.2rem 1.2rem; font-size: 0.88rem; padding: 0; margin: 0.3rem 0 0.8rem;
  list-style: none; }
.legend li { margin: 0; }
.lines { list-style: none; margin: 0; padding: 0; }
.lines > li { margin: 0; border-bottom: 1px solid var(--rule); }
.lines > li:first-child { border-top: 1px solid var(--rule); }
.line { display: grid; grid-template-columns: 8.2rem minmax(0, 1.2fr) minmax(0, 1.4fr) 10.5rem; gap: 0.1rem 1rem;
  padding: 0.5rem 0.2rem; color: inherit; text-decoration: none; align-items: baseline; }
a.line { color: var(--ink); text-decoration: none; }
a.line:hover { background: var(--shade); }
a.line .what b { text-decoration: underline; text-decoration-color: var(--rule); text-underline-offset: 0.2em; }
.line .where { color: var(--ink); font-variant-numeric: tabular-nums; }
.line .when { color: var(--quiet); font-size: 0.88rem; font-variant-numeric: tabular-nums; text-align: right; }
.line .risks { color: var(--risk); }
.rows { display: flex; flex-wrap: wrap; gap: 1.1rem 1.6rem; align-items: flex-end; }
.floor { display: flex; flex-wrap: wrap; gap: 0 1.6rem; align-items: flex-end; }
.floor section { max-width: 100%; }
.rows figure { margin: 0; max-width: 100%; }
.rows figcaption { font-size: 0.95rem; font-weight: 600; padding: 0.15rem 0 0 1.9rem; }
.chips { display: flex; flex-wrap: wrap; gap: 0.5rem; list-style: none; padding: 0; margin: 0; }
.chips li { margin: 0; border: 1px solid var(--rule); padding: 0.3rem 0.6rem; }
.stale { filter: saturate(0.3); }
.split { display: grid; grid-template-columns: minmax(0, 36rem) minmax(16rem, 1fr); gap: 1rem 2rem;
  align-items: start; }
.sheet table { border-collapse: collapse; width: 100%; max-width: 76rem; font-size: 0.94rem; }
.sheet th { text-align: left; font-weight: 600; font-size: 0.85rem; color: var(--quiet); }
.sheet th, .sheet td { padding: 0.35rem 0.7rem 0.35rem 0; border-bottom: 1px solid var(--rule);
  vertical-align: baseline; }
.sheet td.figure { text-align: right; font-variant-numeric: tabular-nums; white-space: nowrap; }
.sheet td.narrow { white-space: nowrap; }
.scroll { overflow-x: auto; }
.lamp-line { display: grid; grid-template-columns: minmax(5rem, auto) 1fr; gap: 0.05rem 0.8rem; padding: 0.45rem 0;
  border-bottom: 1px solid var(--rule); }
.lamp-line .slot-name { font-weight: 600; }
.lamp-line .should { display: flex; align-items: center; flex-wrap: wrap; }
.lamp-line .reports { grid-column: 2; font-size: 0.88rem; color: var(--quiet); }
.lamp-line .stands { grid-column: 2; }
.leans { max-width: 62rem !important; }
.leans td, .leans th { text-align: center; padding: 0.3rem 0.4rem 0.3rem 0; }
.leans td, .leans th { overflow-wrap: normal; }
.leans td:first-child { overflow-wrap: anywhere; }
.leans .named { display: flex; flex-wrap: wrap; gap: 0 0.8rem; }
.leans td:first-child, .leans th:first-child { text-align: left; min-width: 9rem; }
.leans .tie { font-size: 0.8rem; line-height: 1.15; }
.leans .tied { background: var(--shade); }
.leans .tied.troubled { background: var(--risk-tint); color: var(--risk); }
.evidence { margin: 0.2rem 0 0.5rem; padding: 0; list-style: none; font-size: 0.88rem; }
.evidence li { margin: 0.1rem 0; padding-left: 0.8rem; border-left: 3px solid var(--rule); }
.sheet details > summary { cursor: pointer; padding: 0.25rem 0; }
.sheet details > summary h3 { display: inline; margin-right: 0.4rem; }
.sheet details[data-section] { border-top: 1px solid var(--rule); padding: 0.3rem 0; }
.sheet details[data-section] > summary { padding: 0.4rem 0; }
.pick { font: inherit; color: var(--st-link-color); background: none; border: 0; padding: 0.15rem 0; cursor: pointer;
  text-align: left; text-decoration: underline; text-underline-offset: 0.15em; text-decoration-color: var(--rule); }
.pick[aria-pressed="true"], .pick[aria-expanded="true"] { font-weight: 700; text-decoration-color: var(--ink);
  text-decoration-thickness: 2px; }
.spans .pick { margin-left: 0.6rem; }
.unfolded > td { padding: 0.3rem 0 0.8rem; }
.lost { position: fixed; left: 0; right: 0; bottom: 0; z-index: 1000; padding: 0.7rem 1rem; text-align: center;
  font-family: var(--st-font); font-weight: 600; color: var(--st-background-color); background: var(--st-text-color); }
.lost[hidden] { display: none; }
.readings th.of-value { text-align: right; }
.readings { table-layout: fixed; }
.readings th:nth-child(1) { width: 15%; }
.readings th:nth-child(2) { width: 23%; }
.readings th:nth-child(3) { width: 10%; }
.readings th:nth-child(4) { width: 12%; }
.readings th:nth-child(5) { width: 17%; }
.readings th:nth-child(6) { width: 15%; }
.readings th:nth-child(7) { width: 8%; }
.readings td.strip-cell { padding-left: 0.3rem; }
.readings .part-cell { font-weight: 600; }
.readings tr.first td { border-top: 1px solid var(--quiet); }
.view { margin-top: 0.6rem; font-size: 0.92rem; }
.foot { margin-top: 2rem; padding-top: 0.5rem; border-top: 1px solid var(--rule); }
"""

_ANSWERS = """
.ways { display: flex; flex-wrap: wrap; gap: 0.2rem 1.1rem; font-size: 0.92rem; margin-left: auto; }
.ways a, .choices a { padding: 0.2rem 0; }
.ways a[aria-current], .choices a[aria-current] { color: var(--ink); font-weight: 650; text-decoration-thickness: 3px; }
.choices { display: flex; flex-wrap: wrap; gap: 0.1rem 1.1rem; margin: 0.35rem 0; font-size: 0.94rem; }
.choices .of { color: var(--quiet); min-width: 5.5rem; padding: 0.2rem 0; }
.aside { margin: 0 0 0.4rem 0.2rem; padding-left: 0.8rem; border-left: 3px solid var(--rule); }
svg.bar { vertical-align: -0.05em; flex: none; max-width: 100%; }
svg .filled { fill: var(--unknown); }
svg .filled.over { fill: var(--this); }
svg.bar .limit { stroke: var(--ink); stroke-width: 1.5; }
.suspects { list-style: none; margin: 0; padding: 0; }
.suspects > li { display: grid; grid-template-columns: minmax(0, 1fr) minmax(0, 22rem); gap: 0.2rem 2rem; margin: 0;
  padding: 0.5rem 0.2rem; border-top: 1px solid var(--rule); }
.how-sure { white-space: normal; }
.order-sheet { max-width: 52rem; margin: 0 0 2.5rem; }
.order-sheet h3 { margin: 0.7rem 0 0.1rem; }
.order-sheet ul, .order-sheet ol { margin: 0.1rem 0; padding-left: 1.2rem; }
.order-sheet li { margin: 0.1rem 0; }
.order-sheet .ticks { list-style: none; padding: 0; }
.order-sheet .ticks li { padding-left: 1.7rem; position: relative; }
.order-sheet .ticks li::before { content: ""; position: absolute; left: 0.1rem; top: 0.2em;
  width: 0.85em; height: 0.85em; border: 1.5px solid var(--ink); }
.order-sheet .lamp-to-find { display: flex; align-items: center; }
.sheet-top { display: grid; grid-template-columns: minmax(0, 1fr) auto; gap: 0.5rem 2rem; align-items: start;
  margin-top: 0.6rem; }
.facts { display: grid; grid-template-columns: auto minmax(0, 1fr); gap: 0.15rem 1rem; margin: 0; }
.facts dt { color: var(--quiet); }
.facts dd { margin: 0; font-weight: 600; }
.by-hand { display: grid; grid-template-columns: 1.4fr 1fr 1fr; gap: 1rem; margin: 1.6rem 0 0.5rem; }
.by-hand span { border-top: 1px solid var(--ink); font-size: 0.8rem; padding-top: 0.1rem; }
svg.spot { max-width: 100%; height: auto; display: block; }
svg .spot-frame { fill: none; stroke: var(--ink); stroke-width: 1.2; }
svg .spot-whole { stroke-width: 5; }
svg .spot-other { fill: none; stroke: var(--unknown); stroke-width: 0.8; }
svg .spot-here { fill: var(--ink); stroke: var(--ink); stroke-width: 1; }
svg .spot-unit { font-size: 12px; font-weight: 700; text-anchor: end; }
svg .spot-lead { stroke: var(--ink); stroke-width: 1.5; fill: none; }
svg .spot-said { font-size: 12px; font-weight: 700; fill: var(--ground); }
svg .spot-quiet { font-size: 11px; fill: var(--quiet); }
.find { display: flex; flex-wrap: wrap; gap: 0.3rem 0.7rem; align-items: center; margin: 0.7rem 0 0.4rem; }
.find label { flex-basis: 100%; font-size: 0.92rem; color: var(--quiet); }
.find input { font: inherit; color: var(--ink); background: var(--ground); border: 1px solid var(--quiet);
  padding: 0.4rem 0.6rem; flex: 0 1 26rem; min-width: 0; }
.act { font: inherit; color: var(--ground); background: var(--ink); border: 1px solid var(--ink);
  padding: 0.4rem 1.1rem; cursor: pointer; }
.find input:focus-visible { outline: 3px solid var(--st-primary-color); outline-offset: 2px; }
.needs { display: flex; flex-wrap: wrap; gap: 0.15rem 0.5rem; margin-top: 0.15rem; }
.need { border: 1px solid var(--this); color: var(--this); background: var(--tint); padding: 0 0.4rem;
  font-size: 0.85rem; }
.heard-from { max-width: none !important; }
.room-line { display: grid; grid-template-columns: 13rem 340px 8.5rem minmax(0, 1fr); gap: 0.1rem 1.2rem;
  padding: 0.3rem 0.2rem; align-items: center; }
.sheet .room-line h3 { margin: 0; font-size: 1rem; }
.head-line { padding-bottom: 0; }
.head-line .where { grid-column: 2; line-height: 0; }
.room-line .left, .line .left { font-variant-numeric: tabular-nums; }
.left.is-critical { color: var(--this); }
.wide-when { grid-template-columns: 8.2rem minmax(0, 1.6fr) minmax(0, 1fr) 15rem; }
.wide-when .when { text-align: left; }
svg .beyond { fill: var(--critical-tint); stroke: none; }
svg .ticked { stroke: var(--unknown); stroke-width: 1.2; fill: none; }
svg .pointer { fill: var(--ink); }
svg .limit.strong { stroke: var(--critical); stroke-width: 2; }
.energy td.drawn { vertical-align: middle; }
.unseen { position: absolute; width: 1px; height: 1px; overflow: hidden; clip-path: inset(50%); white-space: nowrap; }
.ledger { max-width: none !important; }
.rates td.drawn, .rates th { vertical-align: middle; }
.rates .more { color: var(--critical); }
svg .span { fill: var(--unknown-tint); stroke: var(--unknown); stroke-width: 1; }
svg .span.open { stroke: none; }
svg .whisker { stroke: var(--unknown); stroke-width: 1.5; fill: none; }
svg .usual { stroke: var(--risk); stroke-width: 1.5; stroke-dasharray: 3 2; fill: none; }
svg .scale { font-size: 10px; fill: var(--quiet); }
svg .scale.moment { text-anchor: middle; }
svg .scale.to-left { text-anchor: end; }
@media print {
  .sheet { --ink: black; --ground: white; --quiet: black; --rule: gray; --unknown: gray; font-size: 10.5pt;
    line-height: 1.3; print-color-adjust: exact; }
  .ways, .mast, .choices, .foot, .told, .notice, .lost, .not-printed { display: none !important; }
  .sheet:has(.order-sheet) { display: block; }
  .order-sheet { break-after: page; break-inside: avoid; margin: 0; max-width: none; }
  .order-sheet:last-child { break-after: auto; }
  .order-sheet h2 { margin-top: 0; }
}
"""

_NARROW = """
@media (max-width: 48rem) {
  .line { grid-template-columns: minmax(0, 1fr) auto; padding: 0.6rem 0; }
  .line .stands { grid-column: 1; }
  .line .when { grid-column: 2; grid-row: 1; }
  .line .what, .line .where { grid-column: 1 / -1; }
  .split { grid-template-columns: minmax(0, 1fr); }
  .rows { justify-content: center; }
  .rows figure { width: 100%; }
  .rows figure svg { margin: 0 auto; }
  .sheet td, .sheet th { padding-right: 0.45rem; }
  .readings thead { display: none; }
  .readings tbody tr { display: grid; grid-template-columns: minmax(0, 1fr) auto; border-bottom: 1px solid var(--rule);
    padding: 0.3rem 0; align-items: baseline; }
  .readings tbody td.quiet { display: none; }
  .readings tbody td { border: 0; padding: 0.05rem 0.4rem 0.05rem 0; }
  .readings tbody td.strip-cell { display: none; }
  .readings tbody td.limit-cell { grid-column: 1; }
  .readings tbody td.margin-cell { grid-column: 2; text-align: right; }
  .readings tbody td.part-cell { grid-column: 1 / -1; padding-top: 0.2rem; }
  .readings tbody td.part-cell:empty { display: none; }
  .readings tbody tr.first { border-top: 2px solid var(--rule); }
  .readings tbody tr.first td { border-top: 0; }
  .readings tbody tr.unfolded, .readings tbody tr.unfolded td { display: block; }
  .leans td:first-child, .leans th:first-child { min-width: 7rem; }
  .leans .tie, .leans th { font-size: 0.75rem; }
  .leans td, .leans th { padding-right: 0.15rem; }
  .readings tbody td.reported-cell { grid-column: 1; }
  .readings tbody td.reported-cell::before { content: "reports "; }
  .pick { padding: 0.45rem 0; }
  .plates thead { display: none; }
  .plates tr { display: block; border-bottom: 1px solid var(--rule); padding: 0.35rem 0; }
  .plates td { display: inline; border: 0; padding: 0 0.6rem 0 0; }
  .plates td:first-child { display: block; font-weight: 600; }
  .room-line { grid-template-columns: minmax(0, 1fr) auto; }
  .room-line .where { grid-column: 1 / -1; grid-row: 2; line-height: 0; }
  .room-line .about { grid-column: 1 / -1; }
  .head-line .where { grid-row: 1; }
  .wide-when .stands, .wide-when .when { grid-column: 1 / -1; grid-row: auto; }
  .energy thead { display: none; }
  .energy tr { display: grid; grid-template-columns: minmax(0, 1fr) auto auto; gap: 0 0.8rem; padding: 0.35rem 0;
    border-bottom: 1px solid var(--rule); }
  .energy td { border: 0 !important; padding: 0.05rem 0 !important; }
  .energy td:first-child { grid-column: 1 / -1; }
  .energy td[data-said]::before { content: attr(data-said) " "; color: var(--quiet); }
  .find input { flex: 1 1 8rem; }
  .choices .of { flex-basis: 100%; padding-bottom: 0; }
  .ledger td[data-said]::before { content: attr(data-said) " "; color: var(--quiet); }
  .rates thead { display: none; }
  .rates tr { display: grid; grid-template-columns: minmax(0, 1fr) auto auto; gap: 0 0.6rem; padding: 0.35rem 0;
    border-bottom: 1px solid var(--rule); }
  .rates td { border: 0 !important; padding: 0.05rem 0 !important; }
  .rates td:first-child, .rates td.drawn, .rates td:last-child { grid-column: 1 / -1; }
  .rates td[data-said]::before { content: attr(data-said) " "; color: var(--quiet); }
  .suspects > li { grid-template-columns: minmax(0, 1fr); }
  .ways { margin-left: 0; width: 100%; }
  .ways a, .choices a { padding: 0.4rem 0; }
  .heard-from thead { display: none; }
  .heard-from tr { display: grid; grid-template-columns: minmax(0, 1fr) minmax(0, 1fr); padding: 0.4rem 0;
    border-bottom: 1px solid var(--rule); }
  .heard-from td { border: 0; padding: 0 0.4rem 0 0; }
  .heard-from td:first-child { grid-column: 1 / -1; }
  .heard-from td[data-said]::before { content: attr(data-said) " "; color: var(--quiet); }
}
@media screen and (max-width: 48rem) {
  .sheet-top { grid-template-columns: minmax(0, 1fr); }
}
"""

CSS = _COLOURS + _MARKS + _DRAWN + _LAMPS + _LINES + _PANELS + _ANSWERS + SLED + _NARROW + ROUNDS
