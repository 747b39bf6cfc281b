// ---- CSV

function quoted(text) {
  const plainText = String(text === undefined ? "" : text);
  return /[",;\r\n]/.test(plainText) || plainText !== plainText.trim() ? '"' + plainText.replaceAll('"', '""') + '"' : plainText;
}

function rowsNow() {
  const out = [];
  R.sheets.forEach((sheet, s) => {
    const speed = speedIn(s);
    R.tappings.forEach((tapping, t) => {
      const value = pressureIn(s, t), own = kept.cells[cellKey(s, t)];
      if (value === null || !isFinite(value)) return;
      const row = { tapping: tapping.name, quantity: "static", value: Number(value.toPrecision(6)) + " Pa",
        set: sheet.name, blanked: sheet.blanked.join(" + "), sd: own.sd ? Number(own.sd.toPrecision(6)) + " Pa" : "", note: own.note || "" };
      if (speed !== null && isFinite(speed) && speed > 0 && R.speed !== null) row.engine_speed = speed + " rpm";
      out.push(Object.assign({}, own.more || {}, row));
    });
  });
  return out.concat(kept.others || []);
}

function csv() {
  const rows = rowsNow(), columns = COLUMNS.filter((name) => ["tapping", "quantity", "value", "engine_speed", "set", "blanked"].includes(name) || rows.some((row) => row[name]));
  return [columns.join(",")].concat(rows.map((row) => columns.map((name) => quoted(row[name])).join(","))).join("\n") + "\n";
}

/** Cells of a CSV text; lines that begin with # are remarks. */
function cellsOf(text) {
  const head = text.split("\n").find((line) => line.trim() && !line.startsWith("#")) || "";
  const count = (sign) => head.split(sign).length, mark = [";", "\t", ","].reduce((a, b) => count(b) > count(a) ? b : a);
  const rows = [];
  let row = [], cell = "", inside = false, fresh = true, remark = false;
  for (let i = 0; i <= text.length; i++) {
    const c = i < text.length ? text[i] : "\n";
    if (remark) { if (c === "\n") remark = false; continue; }
    if (inside) {
      if (i === text.length) inside = false;
      else if (c === '"' && text[i + 1] === '"') { cell += '"'; i++; continue; }
      else if (c === '"') { inside = false; continue; }
      else { cell += c; continue; }
    }
    if (c === "#" && fresh) { remark = true; continue; }
    if (c === '"' && !cell.trim()) { inside = true; cell = ""; fresh = false; }
    else if (c === mark || c === "\n") {
      row.push(cell.replace("\r", "").trim());
      cell = "";
      if (c === "\n") { if (row.some((one) => one)) rows.push(row); row = []; fresh = true; }
    } else { cell += c; if (c.trim()) fresh = false; }
  }
  return rows;
}

function siOf(text, kind) {
  const found = /^([+-]?[\d.,]+(?:[eE][+-]?\d+)?)\s*(.*)$/.exec(String(text).trim().replace("−", "-"));
  if (!found) return NaN;
  const number = Number(found[1].includes(".") ? found[1].replaceAll(",", "") : found[1].replace(",", "."));
  if (!found[2]) return number;
  const factor = R.measures[kind][found[2]];
  return factor === undefined ? NaN : number * factor;
}

/** Take rows of a table of readings: what has a field goes there, the rest is kept and written again. */
function take(rows) {
  const taken = {}, speeds = {}, others = [], setOf = {}, bad = [];
  const sign = (list) => list.slice().sort().join(" + ");
  for (const row of rows) {
    const names = (row.blanked || "").trim() === "all" ? R.openings : (row.blanked || "").split(/\s\+\s/).map((n) => n.trim()).filter(Boolean);
    const s = R.sheets.findIndex((sheet) => sign(sheet.blanked) === sign(names));
    const t = R.tappings.findIndex((tapping) => tapping.name === (row.tapping || "").trim());
    const quantity = (row.quantity || "static").trim(), plainRow = quantity === "static" || quantity === "vacuum";
    const weather = row.temperature || row.pressure || row.relative_humidity || row.resolution || row.fan_speed;
    const set = s < 0 ? "" : R.sheets[s].name, own = row.set || "", key = s < 0 || t < 0 ? "" : cellKey(s, t);
    let value = siOf(row.value, "Pa");
    if (!key || !plainRow || weather || (setOf[set] !== undefined && setOf[set] !== own) || taken[key]) { others.push(row); continue; }
    if (!isFinite(value)) { others.push(row); if (row.value) bad.push(row.value); continue; }
    if (quantity === "vacuum") value = -value;
    const speed = row.engine_speed ? siOf(row.engine_speed, "rad/s") * 30 / Math.PI : null;
    const stated = speed === null ? "" : plain(speed);
    if (speeds[set] !== undefined && speeds[set] !== stated) { others.push(row); continue; }
    setOf[set] = own; speeds[set] = stated;
    const shown = value / R.pascal, text = suction(s, t) ? (value > 0 ? "+" + short(shown) : short(-shown)) : short(shown);
    const sd = row.sd ? siOf(row.sd, "Pa") : NaN;
    taken[key] = { text: text, note: row.note || "" };
    if (isFinite(sd) && sd > 0) taken[key].sd = sd;
  }
  kept.cells = taken;
  kept.speeds = Object.assign({}, speeds);
  kept.others = others.map((row) => renamed(row, setOf));
  return { taken: Object.keys(taken).length, others: others.length, bad: bad };
}

function short(number) { return String(Number(number.toPrecision(6))); }

/** A set that the page's own sheets are written under gets another name where it is a different one. */
function renamed(row, setOf) {
  const out = Object.assign({}, row), own = row.set || "";
  const sheet = R.sheets.find((one) => one.name === own);
  if (sheet && setOf[own] !== own) out.set = own + "'";
  return out;
}

function readCsv(text) {
  const [head, ...rows] = cellsOf(text.replace(/^\uFEFF/, ""));
  const names = (head || []).map((name) => name.trim().toLowerCase().replaceAll(" ", "_"));
  if (!names.includes("tapping") || !names.includes("value")) return null;
  return take(rows.map((row) => Object.fromEntries(names.map((name, i) => [name, row[i] || ""]))));
}

function fileWords(found) {
  if (!found) return "That is no table of readings: it needs the columns tapping and value.";
  let words = found.taken + (found.taken === 1 ? " reading is" : " readings are") + " on the page.";
  if (found.others) words += " " + found.others + " more have no field here (another speed, taping, set or quantity); they are kept and written again when you save.";
  if (found.bad.length) words += " Not understood: " + listed(found.bad.slice(0, 3)) + ".";
  return words;
}

function layFile() {
  $("save").addEventListener("click", () => {
    const link = element("a", undefined, { href: URL.createObjectURL(new Blob([csv()], { type: "text/csv" })), download: "readings.csv" });
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
    $("file-words").textContent = "Saved as readings.csv, if this browser allows it; the text below can be copied too.";
  });
  $("open").addEventListener("change", () => {
    const file = $("open").files[0];
    if (!file) return;
    const reader = new FileReader();
    reader.onload = () => { const found = readCsv(String(reader.result)); if (found) laid(); $("file-words").textContent = fileWords(found); };
    reader.onerror = () => { $("file-words").textContent = "The file cannot be read."; };
    reader.readAsText(file);
    $("open").value = "";
  });
  let sure = false;
  $("clear").addEventListener("click", () => {
    if (sure) { kept.cells = {}; kept.speeds = {}; kept.others = []; laid(); $("file-words").textContent = "Cleared."; }
    sure = !sure;
    $("clear").textContent = sure ? "Really clear? Press again" : "Clear the readings";
  });
  $("clear").addEventListener("blur", () => { sure = false; $("clear").textContent = "Clear the readings"; });
}

function laid() { laySheets(); drawReadings(); keep(); }
