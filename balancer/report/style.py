"""How a page looks: on screens of any width, light and dark, and on A4."""

STYLE = """
:root { color-scheme: light; --ground: #ffffff; --ink: #1a1a1a; --quiet: #55585e; --line: #b9bcc2;
  --warn: #9a3412; --warn-ground: #fff4ec; }
@media screen and (prefers-color-scheme: dark) {
  :root { color-scheme: dark; --ground: #171614; --ink: #f0efed; --quiet: #b4b2ad; --line: #55524d;
    --warn: #fdba74; --warn-ground: #2b2018; }
}
* { box-sizing: border-box; }
html { background: var(--ground); }
body { margin: 0; color: var(--ink); background: var(--ground);
  font: 1rem/1.45 "Segoe UI", Roboto, "Helvetica Neue", "Liberation Sans", Arial, sans-serif; }
main { max-width: 60rem; margin: 0 auto; padding: 1rem 1.25rem 3rem; overflow-wrap: break-word; }
h1 { font-size: 1.75rem; line-height: 1.2; margin: 0.25rem 0; }
h2 { font-size: 1.35rem; line-height: 1.25; margin: 2rem 0 0.25rem; }
h3 { font-size: 1.1rem; margin: 1.5rem 0 0.4rem; }
h4 { font-size: 1rem; margin: 1.25rem 0 0.4rem; }
h1, h2, h3, h4, bdi, .typed { overflow-wrap: anywhere; }
p { margin: 0.4rem 0; }
ul { margin: 0.4rem 0; padding-left: 1.3rem; }
li { margin: 0.2rem 0; }
a { color: inherit; }
time { white-space: nowrap; }
.quiet, .made { color: var(--quiet); font-size: 0.92em; }
.typed { white-space: pre-line; }
.hand { display: block; white-space: nowrap; }
.figures { display: grid; grid-template-columns: repeat(auto-fit, minmax(9.5rem, 1fr)); gap: 0.6rem;
  margin: 0.8rem 0; padding: 0; list-style: none; }
.figures li { border: 1px solid var(--line); border-radius: 0.4rem; padding: 0.45rem 0.7rem; margin: 0; }
.figures span { display: block; color: var(--quiet); font-size: 0.88em; }
.figures b { font-size: 1.1em; font-weight: 600; }
table { border-collapse: collapse; width: 100%; margin: 0.5rem 0; font-size: 0.95em; }
caption { text-align: left; color: var(--quiet); padding-bottom: 0.25rem; }
th, td { text-align: left; vertical-align: top; padding: 0.3rem 0.7rem 0.3rem 0;
  border-bottom: 1px solid var(--line); }
th { font-weight: 600; }
thead th { border-bottom: 2px solid var(--ink); }
tbody th { font-weight: 500; }
.scroll { overflow-x: auto; }
.scroll:focus-visible { outline: 2px solid var(--ink); }
.pair { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(100%, 20rem), 1fr));
  gap: 1rem 2rem; align-items: start; }
.pair > * { min-width: 0; }
figure { margin: 0.8rem auto; max-width: 27rem; width: 100%; }
figure svg { display: block; height: auto; }
.note { border-left: 0.3rem solid var(--warn); background: var(--warn-ground); padding: 0.5rem 0.9rem;
  margin: 0.8rem 0; }
.note h2, .note h3, .note h4 { color: var(--warn); margin-top: 0.2rem; }
.note .bad { font-weight: 600; }
.cautions ul { columns: 22rem 2; column-gap: 2rem; }
.cautions li { break-inside: avoid; }
.card { border-top: 2px solid var(--line); margin-top: 2.5rem; }
@media (max-width: 34rem) {
  .arms { font-size: 0.8rem; }
  .arms th, .arms td { padding-right: 0.35rem; }
  .arms .hand { white-space: normal; }
}
@page { size: A4 portrait; margin: 14mm 15mm 16mm;
  @bottom-right { content: counter(page) " / " counter(pages); font: 9pt sans-serif; } }
@media print {
  body { font-size: 9.5pt; }
  main { max-width: none; padding: 0; }
  h1 { font-size: 17pt; }
  h2 { font-size: 13pt; margin-top: 10pt; }
  h3 { font-size: 11pt; margin-top: 8pt; }
  h4 { font-size: 10pt; margin-top: 8pt; }
  h1, h2, h3, h4, caption { break-after: avoid; }
  figure, tr, li, .note { break-inside: avoid; }
  p, li { orphans: 2; widows: 2; margin: 2pt 0; }
  thead { display: table-header-group; }
  table { font-size: 9pt; margin: 3pt 0; }
  th, td { padding: 2pt 6pt 2pt 0; }
  .figures { grid-template-columns: repeat(4, 1fr); gap: 5pt; margin: 5pt 0; }
  .figures li { padding: 3pt 6pt; }
  .figures b { font-size: 10pt; }
  .pair { grid-template-columns: 1fr 1fr; gap: 0 9mm; }
  figure { margin: 4pt 0; }
  figure svg { max-height: 235mm; }
  .note { background: none; border: 1pt solid #000; border-left-width: 3pt; padding: 3pt 8pt; }
  .note h2, .note h3, .note h4 { color: #000; }
  .cautions ul { columns: 2; }
  .scroll { overflow: visible; }
  .card { border-top: 0; margin-top: 0; }
  .fresh { break-before: page; }
}
"""
