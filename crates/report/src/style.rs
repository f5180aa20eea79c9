//! How the report looks: paper first, dark on a screen that asks for it.

use crate::figure::{Theme, css_variables};

/// The page's style sheet.
pub(crate) fn sheet() -> String {
    format!(
        ":root{{color-scheme:light;{}}}\n@media screen and (prefers-color-scheme:dark){{:root{{color-scheme:dark;{}}}}}\n{RULES}",
        css_variables(Theme::Light),
        css_variables(Theme::Dark)
    )
}

// 170 mm of column fit both A4 (210 mm wide) and Letter (216 mm); no page size is set, the printer's stands.
pub(crate) const RULES: &str = r#"
*{box-sizing:border-box}
html{background:var(--ground);color:var(--text);font:16px/1.5 system-ui,sans-serif;font-variant-numeric:tabular-nums lining-nums;-webkit-text-size-adjust:100%}
body{margin:0 auto;padding:28px 20px 40px;max-width:46rem;overflow-wrap:break-word}
h1{font-size:28px;line-height:1.2;margin:0 0 8px;font-weight:600}
h2{font-size:20px;line-height:1.3;margin:40px 0 10px;padding-top:12px;border-top:1px solid var(--hairline);font-weight:600}
h3{font-size:16px;margin:24px 0 6px;font-weight:600}
h1,h2,h3{break-after:avoid;break-inside:avoid}
p,ul,ol,dl{margin:0 0 12px;orphans:3;widows:3}
ul,ol{padding-left:26px}
li{margin-bottom:6px;break-inside:avoid}
a{color:var(--predicted)}
.symbol,.formula{font-family:"STIX Two Text","Times New Roman",Georgia,serif;font-size:1.06em}
.symbol{font-style:italic}
.formula{display:block;margin:4px 0 12px 22px}
sub,sup{line-height:0;font-size:.75em}
.quiet{color:var(--quiet)}
.unit{white-space:nowrap}
.mark{border-left:4px solid var(--caution);padding:2px 0 2px 12px;margin:0 0 14px;break-inside:avoid}
.mark p:last-child{margin-bottom:0}
.mark b::before,.caution::before{content:"▲ ";color:var(--caution)}
.result{border:1px solid var(--hairline);background:var(--panel);padding:18px 20px;margin:20px 0;break-inside:avoid}
.result .large{font-size:40px;line-height:1.15;font-weight:600;margin:4px 0 8px}
.result .large .symbol{font-weight:400}
.result p:last-child{margin-bottom:0}
.large span{white-space:nowrap}
.contents{columns:2;column-gap:32px;font-size:14px;list-style:none;padding:0}
.contents li{margin-bottom:2px}
.scroll{overflow-x:auto;margin:0 0 14px;max-width:100%}
.scroll:focus-visible{outline:2px solid var(--predicted);outline-offset:2px}
table{border-collapse:collapse;font-size:14px;line-height:1.35;min-width:min(100%,26rem)}
.caption{font-size:14px;color:var(--quiet);margin:0 0 4px;break-after:avoid}
.table.whole{break-inside:avoid}
th,td{text-align:left;vertical-align:top;padding:4px 16px 4px 0;border-bottom:1px solid var(--hairline);font-weight:400}
th:last-child,td:last-child{padding-right:0}
thead th,thead th.number{white-space:normal}
thead th{vertical-align:bottom;border-bottom-color:var(--quiet);font-weight:600}
thead{display:table-header-group}
tr{break-inside:avoid}
.number{text-align:right;white-space:nowrap}
tr.struck>*{color:var(--quiet)}
tr.struck:not(.note) td.number{text-decoration:line-through;text-decoration-color:var(--rejected)}
tr.struck.note td::before{content:"⊘ ";color:var(--rejected)}
tr.note td{font-size:14px;padding-left:12px}
figure{margin:0 0 20px;break-inside:avoid}
figcaption{font-size:14px;color:var(--quiet);break-before:avoid}
svg.figure{display:block;width:100%;max-width:580px;height:auto}
figure.photo img{display:block;width:100%;height:auto;max-height:150mm;object-fit:contain;object-position:left;background:#0e1013}
.photos{display:grid;grid-template-columns:repeat(auto-fill,minmax(min(100%,20rem),1fr));gap:0 16px}
.data{font-size:14px;margin-top:6px}
.data summary{cursor:pointer;color:var(--quiet)}
.data table{min-width:0}
.blank{display:inline-block;min-width:9em;border-bottom:1px solid var(--quiet);height:1.3em;vertical-align:baseline}
.blank.wide{min-width:min(100%,24em)}
.blank.cell{min-width:5.5em;border-bottom:0;height:1.8em}
.names .blank{margin-right:2em}
.paper{display:none}
.questions{list-style:none;padding-left:0}
code,.hash{font-family:ui-monospace,monospace;font-size:13px;overflow-wrap:anywhere}
.hash{white-space:normal}
td code,th code{white-space:nowrap}
@media screen and (max-width:600px){
body{padding:20px 16px 32px}
.result{padding:14px}
.result .large{font-size:28px}
.large span{white-space:normal}
.contents{columns:1}
tbody th{min-width:7.5em}
tbody th.number{min-width:0}
}
@media print{
@page{margin:15mm 16mm 17mm;@bottom-center{content:counter(page) " / " counter(pages);font:9pt system-ui,sans-serif;color:#555}}
html{font-size:9.2pt;line-height:1.34;background:#fff}
body{max-width:none;padding:0}
h1{font-size:20pt}
h2{font-size:13pt;margin:10pt 0 4pt;padding-top:4pt}
p,ul,ol,dl{margin-bottom:6pt}
li{margin-bottom:2.5pt}
table{font-size:8pt}
.caption,figcaption{font-size:8pt}
th,td{padding:1.4pt 9pt 1.4pt 0}
.scroll{overflow:visible;margin-bottom:6pt}
.result{background:none;padding:10pt 12pt;margin:10pt 0}
.result .large{font-size:24pt}
figure.drawn{display:grid;grid-template-columns:minmax(0,3fr) minmax(0,2fr);gap:0 5mm;align-items:center;margin-bottom:8pt}
h2:has(+p+.table),h2+p:has(+.table),h2:has(+p+figure),h2+p:has(+figure),h2+p:has(+p+figure){break-after:avoid}
section.whole,p{break-inside:avoid}
#cautions,#inputs .table.whole{break-inside:auto}
svg.figure{width:auto;max-width:100%;max-height:56mm}
code,.hash{font-size:7pt}
tr.note td{font-size:7.5pt;padding:0 0 1pt 10pt}
.data,.screen{display:none}
.paper{display:block}
figure.photo img{max-height:34mm;filter:brightness(1.5)}
figure.photo{margin-bottom:6pt}
.photos{grid-template-columns:repeat(4,1fr);gap:0 3mm}
.photos figcaption{font-size:7pt}
#cautions ol,.cautions{columns:2;column-gap:6mm}
.appendix{break-before:page}
.formula{margin:2pt 0 5pt 16pt}
a{color:inherit;text-decoration:none}
}
"#;
