// ---- the whole

function choose(part) {
  kept.part = part;
  for (const name of ["fixes", "readings"]) {
    $(name).toggleAttribute("data-away", name !== part);
    $("show-" + name).setAttribute("aria-pressed", String(name === part));
  }
}

if (F) { prepare(); layFixes(); drawFixes(); }
if (R) {
  if (kept.others === null) { kept.others = []; if (R.entered.length) { const found = take(R.entered); $("file-words").textContent = fileWords(found); } }
  layFile();
  laySheets();
  drawReadings();
}
if (F && R) {
  choose(kept.part);
  for (const name of ["fixes", "readings"]) $("show-" + name).addEventListener("click", () => { choose(name); keep(); window.scrollTo(0, 0); });
}
keep();
window.fieldCard = { kept: kept, result: F && result, best: F && best, weigh: W && weigh, judged: judged, readCsv: R && readCsv, csv: R && csv, typed: R && typed, redraw: R && laid };
