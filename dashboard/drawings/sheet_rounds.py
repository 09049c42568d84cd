"""What Rounds looks like, beyond what all pages share."""

from __future__ import annotations

ROUNDS = """
svg.rack .cut-off { stroke: var(--unknown); stroke-width: 1.5; fill: none; }
.tight .line { grid-template-columns: 6.6rem minmax(0, 1fr) auto; padding: 0.4rem 0.1rem; gap: 0 0.7rem; }
.tight .line .where { grid-column: 2; grid-row: 2; font-size: 0.88rem; color: var(--quiet); }
.tight .line .when { grid-column: 3; grid-row: 1; }
.tight .aside { margin-left: 7.4rem; }
.tight h2:first-child, .racks h2:first-child { margin-top: 0.4rem; }
.rows { align-items: flex-start; }
.floor { align-items: flex-start; gap: 0 1.6rem; }
.rows figcaption { padding: 0 0 0.1rem; font-size: 0.92rem; }
.rows figcaption .small { font-weight: 400; }
.sheet > h2:first-child { margin-top: 0.4rem; }
.lane { padding: 0.2rem 0; border-bottom: 1px solid var(--rule); }
.lane > div:first-child, .lane > summary { display: flex; flex-wrap: wrap; gap: 0 0.7rem; align-items: baseline; }
.sheet .lane > summary { padding: 0.1rem 0; }
.lane h3 { margin: 0; font-size: 0.92rem; }
.lane .count { font-size: 0.84rem; color: var(--quiet); line-height: 1.3; }
.cells { display: flex; flex-wrap: wrap; gap: 1px; }
.cell { display: block; width: 24px; height: 24px; background: var(--ground); border-bottom: 1px solid var(--rule); }
.cell svg { display: block; }
.cell.is-critical, .cell.is-warning { background: var(--tint); }
.cell.is-critical { border-bottom: 2px solid var(--this); }
.cell.drawn { outline: 1.5px solid var(--ink); outline-offset: -1.5px; }
.cell:hover { background: var(--shade); }
.taken { display: flex; flex-wrap: wrap; gap: 0.2rem 0.6rem; align-items: baseline; margin: 0.2rem 0; }
.taken a { border: 1px solid var(--rule); padding: 0.15rem 0.5rem; text-decoration: none; }
.taken a::after { content: " ×"; }
.taken a.all::after { content: ""; }
.news li { margin: 0; }
.steps { width: 100%; max-width: 25rem; height: auto; display: block; margin: 0.4rem 0; }
.steps .bed { fill: var(--shade); stroke: var(--rule); }
.steps .filled { fill: var(--ok); }
@media (max-width: 48rem) {
  .tight .line { grid-template-columns: minmax(0, 1fr) auto; }
  .tight .line .stands { grid-column: 1; grid-row: 1; }
  .tight .line .when { grid-column: 2; grid-row: 1; }
  .tight .line .what, .tight .line .where { grid-column: 1 / -1; grid-row: auto; }
  .tight .aside { margin-left: 0.2rem; }
}
"""

PAGE = """<style>
.st-key-rounds, .st-key-rounds-many { display: grid !important; grid-template-columns: minmax(0, 1fr);
  gap: 0 2.2rem !important; }
.st-key-rounds > *, .st-key-rounds-many > * { width: 100% !important; min-width: 0; }
@media (min-width: 62rem) {
  .st-key-rounds, .st-key-rounds-many { grid-template-columns: minmax(0, 9fr) minmax(0, 11fr); align-items: start; }
  .st-key-rounds > *:first-child, .st-key-rounds-many > *:first-child { grid-row: 1 / span 2; }
  .st-key-rounds-many { grid-template-rows: auto 1fr; }
}
@media (min-width: 120rem) {
  .st-key-rounds { grid-template-columns: minmax(0, 8fr) minmax(0, 14fr); }
  .st-key-rounds-many { grid-template-columns: minmax(0, 8fr) minmax(42rem, 7fr) minmax(0, 7fr); }
  .st-key-rounds-many > *:first-child { grid-row: auto; }
}
.st-key-find { margin-top: -0.4rem; max-width: 40rem; }
</style>"""
"""Two columns where there is room, what is wrong and the racks; three for a floor of many racks, whose rows of cells
stand apart from the racks that are open. For Streamlit's own boxes, outside our sheets."""
