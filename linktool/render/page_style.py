"""The page's style: quiet, readable at a bench, and on paper."""

from __future__ import annotations

STYLE = """
:root { color-scheme: light; }
body { margin: 0; background: #fbfaf7; color: #1d1d1b; font: 16px/1.5 system-ui, sans-serif; }
main { max-width: 60rem; margin: 0 auto; padding: 1.5rem 1rem 4rem; }
h1 { font-size: 1.7rem; margin: 0 0 .3rem; }
h2 { font-size: 1.25rem; margin: 2.2rem 0 .5rem; border-bottom: 2px solid #1d1d1b; }
h3 { font-size: 1.05rem; margin: 1.4rem 0 .3rem; }
p { margin: .4rem 0; }
.quiet { color: #5a5a55; }
table { border-collapse: collapse; margin: .6rem 0; width: 100%; }
th, td { text-align: left; vertical-align: top; padding: .25rem .6rem .25rem 0;
         border-bottom: 1px solid #d8d5cc; }
pre { font: 13px/1.35 ui-monospace, monospace; background: #f1efe8; padding: .6rem .8rem; margin: .3rem 0;
      white-space: pre-wrap; overflow-wrap: anywhere; }
figure { margin: .8rem 0 1.2rem; }
figcaption { color: #5a5a55; margin-bottom: .3rem; }
svg { max-width: 100%; height: auto; }
svg text.mark { font: 10px ui-monospace, monospace; fill: #1d1d1b; }
ul.legend { list-style: none; display: flex; flex-wrap: wrap; gap: .3rem 1.2rem; padding: 0;
            margin: .4rem 0; }
ul.legend svg { vertical-align: -4px; }
.entry { border-left: 3px solid #b9c7bf; padding: .1rem 0 .1rem .8rem; margin: .6rem 0; }
.entry.bad { border-left: 3px double #b3261e; }
.entry .at { font-variant-numeric: tabular-nums; color: #5a5a55; }
.wrong { color: #b3261e; }
.detail { margin: .1rem 0 .1rem 1rem; overflow-wrap: anywhere;
          display: grid; grid-template-columns: minmax(6.5rem, max-content) 1fr; column-gap: .5rem; }
.detail .name { color: #5a5a55; }
@media print {
  body { background: #fff; font-size: 11pt; }
  main { max-width: none; padding: 0; }
  pre { background: none; border: 1px solid #999; }
  h2, h3 { break-after: avoid; }
  figure, tr, .entry { break-inside: avoid; }
}
"""
