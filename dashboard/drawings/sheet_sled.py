"""The style sheet's part for the sled page, the lamp reader and the work orders."""

from __future__ import annotations

SLED = """
svg.cutaway { width: 100%; max-width: 36rem; height: auto; display: block; }
svg .front-edge { stroke: var(--ink); stroke-width: 4; fill: none; }
svg .tray { fill: var(--shade); stroke: var(--unknown); stroke-width: 1; }
svg .tray.is-critical, svg .tray.is-warning { stroke: var(--this); stroke-width: 2; }
svg .piece { fill: var(--ground); stroke: var(--unknown); stroke-width: 1; }
svg .piece.is-critical, svg .piece.is-warning { fill: var(--tint); stroke: var(--this); stroke-width: 2; }
svg .piece.is-unknown { stroke-dasharray: 2 2; }
svg .hold { fill: transparent; }
svg .chosen { fill: none; stroke: var(--ink); stroke-width: 3; }
svg a:hover .piece, svg a:hover .hold, svg a:hover .face, svg a:hover .carrier { stroke: var(--ink); stroke-width: 2; }
svg.cutaway .said { font-size: 11px; }
svg.cutaway .strong { font-weight: 600; font-size: 12px; }
svg .reads { font-size: 10.5px; text-anchor: middle; fill: var(--ink); }
svg .quiet { font-size: 11px; fill: var(--quiet); }
svg .air { font-size: 11px; fill: var(--ink); }
svg.cutaway .to-left { text-anchor: end; }
svg .to-middle { text-anchor: middle; }
svg .arrow, svg .coolant { stroke: var(--quiet); stroke-width: 1.6; fill: none; }
svg .coolant { stroke: var(--ok); stroke-width: 2.4; }
svg.front text, svg.front .lamps, svg.front .blade > .mark { pointer-events: none; }
.drawn figure { margin: 0 0 0.6rem; }
.drawn figcaption { font-size: 0.85rem; color: var(--quiet); }
.drawn figcaption b { color: var(--ink); font-weight: 600; }
.drawn .choices { font-size: 0.88rem; margin: 0.1rem 0 0.3rem; align-items: baseline; }
.drawn .choices .of { min-width: 0; }
.drawn .choices .worded { margin-left: 0.4rem; }
.verdict .plain { color: inherit; text-decoration-color: var(--rule); }
.verdict { border-left: 10px solid var(--this, var(--unknown)); padding: 0.15rem 0 0.15rem 0.9rem; margin: 0.8rem 0; }
.verdict p { margin: 0.15rem 0; }
.verdict .says { font-size: 1.18rem; font-weight: 600; line-height: 1.3; }
.verdict .do { display: flex; flex-wrap: wrap; gap: 0.2rem 0.9rem; align-items: center; }
.verdict .seek { display: flex; align-items: center; }
.push { display: inline-flex; align-items: center; box-sizing: border-box; min-height: 2.75rem;
  padding: 0.55rem 0.9rem; border: 2px solid var(--ink);
  color: var(--ink) !important; background: var(--ground); font: inherit; font-weight: 600; text-decoration: none;
  cursor: pointer; line-height: 1.35; }
.push:hover { background: var(--shade); }
.pushes { display: flex; flex-wrap: wrap; gap: 0.5rem; margin: 0.5rem 0; }
.came { border-left: 6px solid var(--this); padding-left: 0.7rem; }
.part-panel > h2:first-child { margin-top: 0; }
.part-panel h3 { margin-top: 0.9rem; }
.lamp-lines.beside { display: grid; gap: 0 2rem;
  grid-template-columns: repeat(auto-fit, minmax(min(100%, 17rem), 1fr)); }
.of-one .readings th:nth-child(1), .of-one .readings td.part-cell { display: none; }
.of-one .readings th:nth-child(2) { width: 27%; }
.of-one .readings th:nth-child(3) { width: 13%; }
.of-one .readings th:nth-child(4) { width: 15%; }
.of-one .readings th:nth-child(6) { width: 17%; }
.of-one .readings th:nth-child(7) { width: 11%; }
.thumbs { display: grid; grid-template-columns: repeat(auto-fill, minmax(min(100%, 13rem), 1fr)); gap: 0.6rem;
  margin: 0.6rem 0; max-width: 60rem; }
.thumbs.one-wide { grid-template-columns: repeat(auto-fill, minmax(min(100%, 21rem), 1fr)); }
.thumbs.paired { grid-template-columns: repeat(auto-fill, minmax(min(100%, 9rem), 1fr)); }
.thumb { display: flex; flex-wrap: wrap; align-items: center; justify-content: flex-start; gap: 0.1rem 0.7rem;
  min-height: 3.4rem; padding: 0.5rem 0.9rem; border: 2px solid var(--unknown); background: var(--ground);
  color: var(--ink); font: inherit; text-align: left; cursor: pointer; }
.thumb:hover { background: var(--shade); }
.thumb[aria-pressed="true"] { border-color: var(--ink); border-width: 4px;
  padding: calc(0.5rem - 2px) calc(0.9rem - 2px);
  font-weight: 650; }
.thumb .small { flex-basis: 100%; font-weight: 400; }
.tapped-panel { max-width: 34rem; }
.three { display: grid; grid-template-columns: repeat(3, minmax(0, 1fr)); gap: 0.6rem; }
.thumb.lens { flex-direction: column; justify-content: center; text-align: center; padding: 0.6rem 0.2rem;
  min-height: 6rem; }
.thumb.lens[aria-pressed="true"] { padding: calc(0.6rem - 2px) 0.1rem; }
.thumb.lens .panel { margin: 0; }
.lamp-answer { max-width: 44rem; }
.lamp-answer .says { font-size: 1.18rem; font-weight: 600; }
.against { border-left: 10px solid var(--unknown); padding-left: 0.9rem; }
.against.agrees { border-color: var(--ok); }
.against.differs { border-color: var(--critical); font-weight: 600; }
.line-link { display: block; padding: 0.7rem 0.2rem; color: inherit; text-decoration: none; }
.line-link b { text-decoration: underline; text-underline-offset: 0.15em; }
.at-sled a { display: inline-block; padding: 0.6rem 0.4rem; }
[data-block="choose-front"] svg.front { max-width: 30rem; }
svg.qr { width: 30mm; height: 30mm; display: block; }
svg .qr-ground { fill: white; }
svg .qr-dark { fill: black; shape-rendering: crispEdges; }
[data-leads-to] { text-align: center; }
svg .spot-edge { stroke: var(--ink); stroke-width: 3; fill: none; }
.order-sheet > svg.spot { margin-top: 0.7rem; }
.held { display: block; font-style: normal; font-weight: 600; }
@media screen and (max-width: 48rem) { [data-leads-to] { display: none; } }
.two { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(100%, 19rem), 1fr)); gap: 0 2rem; }
@media print {
  svg.qr { width: 28mm; height: 28mm; }
  .two { grid-template-columns: 1fr 1fr; }
}
"""
