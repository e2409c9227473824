"""How the sheet of a run looks, on a screen and on paper (A4, black on white)."""

STYLE = """
@page { size: A4; margin: 13mm 14mm 15mm;
  @bottom-left { content: "potsim"; font: 8pt system-ui, sans-serif; color: #666 }
  @bottom-right { content: counter(page) " of " counter(pages);
    font: 8pt system-ui, sans-serif; color: #666 } }
:root { color-scheme: light }
* { box-sizing: border-box }
body { font: 15px/1.42 system-ui, sans-serif; color: #1c1c1c; background: #fff;
  max-width: 56rem; margin: 1.6rem auto; padding: 0 1rem }
header { border-bottom: 2px solid #1c1c1c; margin-bottom: .9rem }
h1 { font-size: 1.75rem; line-height: 1.15; margin: 0 0 .25rem; overflow-wrap: anywhere }
header p { margin: 0 0 .6rem; max-width: 44rem }
h2 { font-size: 1.02rem; margin: 1.35rem 0 .35rem; padding-bottom: .12rem;
  border-bottom: 1px solid #bbb; break-after: avoid }
p { margin: .4rem 0 } section > p { max-width: 46rem }
.key { display: grid; grid-template-columns: repeat(auto-fit, minmax(7.2rem, 1fr)); gap: 0 1rem;
  margin: .8rem 0 1rem }
.key div { border-left: 3px solid #1c1c1c; padding: .05rem 0 .1rem .55rem; margin-bottom: .4rem }
.key dt { color: #555; font-size: .8rem } .key dd { font-size: 1.12rem; font-weight: 600; margin: 0 }
.key small { display: block; font-size: .8rem; font-weight: 400; color: #333 }
.wide { overflow-x: auto }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; margin: .3rem 0 }
th, td { padding: .12rem .85rem .12rem 0; vertical-align: top; text-align: left }
th { font-weight: 600; border-bottom: 1px solid #777; vertical-align: bottom }
tbody tr:nth-child(3n) td { border-bottom: 1px dotted #ccc }
tr { break-inside: avoid } thead { display: table-header-group }
.n { text-align: right; white-space: nowrap } th small { font-weight: 400; display: block; color: #555 }
dl.facts { display: grid; grid-template-columns: max-content 1fr; gap: .1rem .9rem; margin: .4rem 0 }
.facts dt { color: #555 } .facts dd { margin: 0; overflow-wrap: anywhere }
ul { padding-left: 1.05rem; margin: .4rem 0 } li { margin: .12rem 0; break-inside: avoid }
figure { margin: .8rem 0 } svg { display: block; width: 100%; max-width: 40rem; height: auto; margin: 0 auto }
.pair { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(21rem, 100%), 1fr));
  gap: 0 2.2rem } .pair > * { min-width: 0 } .pair th, .pair td { padding-right: .6rem }
.write { width: 100% } .write th, .write td { padding: .1rem .5rem .1rem 0 }
.write td { border-bottom: 1px solid #bbb; height: 1.95rem; vertical-align: middle }
.write tbody tr:nth-child(3n) td { border-bottom: 1px solid #bbb }
.write .blank { border-left: 1px solid #bbb; border-bottom: 1px solid #555; min-width: 3.6rem }
.write th.blank { border-left: 1px solid #bbb; border-bottom: 1px solid #777; padding-left: .4rem }
.write td.blank { padding-left: .4rem }
.write .broad { min-width: 10rem } .write .box { min-width: 2.6rem } .write th { white-space: nowrap }
 .write tr.cut td { border-top: 2px solid #1c1c1c }
.hint { font-size: .8rem; color: #444; line-height: 1.15 } td.marks { min-width: 8.2rem; border-color: #ddd }
.lines { display: grid; grid-template-columns: repeat(auto-fit, minmax(11rem, 1fr)); gap: .7rem 1.4rem;
  margin: .7rem 0 1rem }
.lines span { border-bottom: 1px solid #555; padding-bottom: .1rem; color: #555; font-size: .85rem;
  min-height: 1.7rem; display: flex; align-items: flex-end }
.fine { font-size: .86rem; color: #333 }
footer { margin-top: 1.6rem; color: #555; font-size: .85rem; border-top: 1px solid #bbb; padding-top: .3rem }
.aims { display: grid; grid-template-columns: minmax(0, 3fr) minmax(0, 2fr);
  gap: 0 2.2rem; align-items: start }
.aims .wide { grid-column: 1 } .aims dl { grid-column: 2; grid-row: 1 / span 3 }
@media (max-width: 44rem) { .aims { display: block } }
@media print {
  body { font-size: 9.4pt; line-height: 1.33; margin: 0; padding: 0; max-width: none }
  section.whole { break-inside: avoid } .bench { break-before: page }
  .wide { overflow: visible } section > p { max-width: none }
  svg { max-width: 150mm; max-height: 160mm } figure { margin: 2mm 0; break-inside: avoid }
  h2 { margin-top: 4.5mm }
  .two ul { columns: 2; column-gap: 7mm }
  .fine { font-size: 8pt }
  .write td { height: 7.6mm } .hint { font-size: 7.4pt }
  .lines { grid-template-columns: repeat(3, 1fr) }
  .pair { grid-template-columns: 1fr 1fr; gap: 0 7mm } .pair table { font-size: 8.3pt }
  .pair th, .pair td { padding-right: .38rem } .aims { gap: 0 8mm }
  .key { grid-template-columns: repeat(6, auto) }
}
"""
