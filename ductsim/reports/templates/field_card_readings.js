// ---- readings

const R = data.readings;
const W = R && R.weighing;
const COLUMNS = ["tapping", "quantity", "value", "engine_speed", "set", "sd", "resolution", "blanked", "temperature", "pressure", "relative_humidity", "fan_speed", "note"];

/** A number as people type it: a comma or a point before the decimals; NaN for anything else. */
function numberIn(text) {
  const plainText = String(text).trim().replace("−", "-").replace(",", ".");
  return /^[+-]?(\d+\.?\d*|\.\d+)$/.test(plainText) ? Number(plainText) : NaN;
}

function cellKey(s, t) { return R.sheets[s].name + "/" + R.tappings[t].name; }
function suction(s, t) { return R.sheets[s].shown[t][1] < 0; }

/** What is typed in a field, as static pressure [Pa]; null for an empty field, NaN for what is no number. */
function pressureIn(s, t) {
  const text = (kept.cells[cellKey(s, t)] || {}).text || "";
  if (!text.trim()) return null;
  const number = numberIn(text) * R.pascal;
  if (!suction(s, t)) return number;
  return /^\s*\+/.test(text) ? number : -Math.abs(number);
}

function speedIn(s) {
  const text = kept.speeds[R.sheets[s].name];
  if (text === undefined) return R.speed;
  return text.trim() ? numberIn(text) : null;
}

function factors(s) {
  const speed = speedIn(s);
  if (R.speed === null || speed === null || !(speed > 0)) return R.sheets[s].exponent.map(() => 1);
  return R.sheets[s].exponent.map((power) => Math.pow(speed / R.speed, power));
}

function range(s, t, factor) {
  const [low, , high] = R.sheets[s].shown[t].map((value) => value * factor);
  return suction(s, t) ? [-high, -low] : [low, high];
}

if (W) {
  for (const name of ["at", "sound", "relative", "zero", "by_suspect", "by_speed"]) W[name] = unpacked(W[name]);
  W.size = R.sheets.length * R.tappings.length;
  W.prior = W.grid.map((z) => -0.5 * Math.pow((z - W.faulty[0]) / W.faulty[1], 2));
}

/** The readings that are typed: their places among all, values, errors of their own, the speed's factor. */
function typed() {
  const out = [];
  R.sheets.forEach((sheet, s) => {
    const factor = factors(s), speed = speedIn(s);
    R.tappings.forEach((tapping, t) => {
      const value = pressureIn(s, t);
      if (value === null || !isFinite(value)) return;
      const own = kept.cells[cellKey(s, t)], place = s * R.tappings.length + t;
      const sd = own.sd ? own.sd : W ? Math.hypot(W.swing, W.share * value) : 1;
      out.push({ place: place, sheet: s, value: value, sd: sd, factor: factor[t],
        tachometer: W ? (speed === null ? W.unread_speed : W.tachometer) : 0 });
    });
  });
  return out;
}

/** Logarithm of the normal density of a misfit under a covariance, without its constant; both are used up. */
function logDensity(matrix, misfit) {
  const n = misfit.length;
  let out = 0;
  for (let i = 0; i < n; i++) {
    for (let j = 0; j <= i; j++) {
      let sum = matrix[i * n + j];
      for (let k = 0; k < j; k++) sum -= matrix[i * n + k] * matrix[j * n + k];
      matrix[i * n + j] = i === j ? Math.sqrt(Math.max(sum, 1e-12)) : sum / matrix[j * n + j];
    }
    let own = misfit[i];
    for (let k = 0; k < i; k++) own -= matrix[i * n + k] * misfit[k];
    misfit[i] = own / matrix[i * n + i];
    out -= 0.5 * misfit[i] * misfit[i] + Math.log(matrix[i * n + i]);
  }
  return out;
}

/** What is uncertain beside faults, for the readings typed: at the pressures of the sound machine. */
function common(read) {
  const n = read.length, count = W.suspects.length, linear = new Float64Array(n * n), zero = new Float64Array(n * n);
  for (let i = 0; i < n; i++) for (let j = 0; j <= i; j++) {
    const a = read[i], b = read[j];
    let sum = W.relative[a.place * W.size + b.place];
    for (let s = 0; s < count; s++) sum += W.by_suspect[a.place * count + s] * W.by_suspect[b.place * count + s];
    if (a.sheet === b.sheet) sum += W.by_speed[a.place] * W.by_speed[b.place] * a.tachometer * b.tachometer;
    linear[i * n + j] = sum;
    zero[i * n + j] = W.zero[a.place * W.size + b.place] + (i === j ? a.sd * a.sd : 0);
  }
  return { linear: linear, zero: zero };
}

/** The covariance of readings where some suspects are at fault: their own sizes are weighed, not uncertain. */
function covariance(read, known, shown, faulty) {
  const n = read.length, count = W.suspects.length, out = new Float64Array(n * n);
  const ratio = read.map((r, i) => shown[i] / (W.sound[r.place] || 1));
  for (let i = 0; i < n; i++) for (let j = 0; j <= i; j++) {
    let sum = known.linear[i * n + j];
    for (const s of faulty) sum -= W.by_suspect[read[i].place * count + s] * W.by_suspect[read[j].place * count + s];
    out[i * n + j] = sum * ratio[i] * ratio[j] + known.zero[i * n + j];
  }
  return out;
}

function sumOfLogs(logs) {
  const top = Math.max(...logs);
  return top === -Infinity ? top : top + Math.log(logs.reduce((sum, log) => sum + Math.exp(log - top), 0));
}

/** Weigh hypotheses: none at fault, each suspect alone, and pairs with the most probable ones. */
function weigh(read) {
  const count = W.suspects.length, sizes = W.grid.length;
  const sound = read.map((r) => W.sound[r.place] * r.factor), known = common(read);
  const under = (i, g) => read.map((r) => W.at[(i * sizes + g) * W.size + r.place] * r.factor);
  const log = (shown, faulty) => shown.every(isFinite)
    ? logDensity(covariance(read, known, shown, faulty), read.map((r, i) => r.value - shown[i])) : -Infinity;
  const before = (n) => n * Math.log(W.rate) + (count - n) * Math.log(1 - W.rate);
  const whole = sumOfLogs(W.prior);
  const out = [{ faulty: [], log: log(sound, []) + before(0) }], single = [];
  for (let i = 0; i < count; i++) {
    const logs = W.grid.map((_, g) => log(under(i, g), [i]) + W.prior[g] - whole);
    single.push({ faulty: [i], log: sumOfLogs(logs) + before(1), logs: [logs] });
  }
  out.push(...single);
  const coarse = W.grid.map((_, g) => g).filter((g) => g % 2), half = sumOfLogs(coarse.map((g) => W.prior[g]));
  const leading = single.slice().sort((a, b) => b.log - a.log).slice(0, 4).map((h) => h.faulty[0]);
  for (const i of leading) for (let j = 0; j < count; j++) {
    if (i === j || (leading.includes(j) && j < i)) continue;
    const logs = [], mine = coarse.map(() => []), theirs = coarse.map(() => []), others = coarse.map((h) => under(j, h));
    coarse.forEach((g, a) => { const one = under(i, g); coarse.forEach((h, b) => {
      const shown = one.map((value, r) => value + others[b][r] - sound[r]);
      const own = log(shown, [i, j]) + W.prior[g] + W.prior[h] - 2 * half;
      logs.push(own); mine[a].push(own); theirs[b].push(own);
    }); });
    out.push({ faulty: [i, j], log: sumOfLogs(logs) + before(2), logs: [mine.map(sumOfLogs), theirs.map(sumOfLogs)], coarse: coarse });
  }
  out.sort((a, b) => b.log - a.log);
  const total = sumOfLogs(out.map((h) => h.log));
  out.forEach((h) => { h.chance = Math.exp(h.log - total); });
  const chances = W.suspects.map((_, i) => out.reduce((sum, h) => sum + (h.faulty.includes(i) ? h.chance : 0), 0));
  return { hypotheses: out, chances: chances };
}

const ODDS = 5;

/** Who is at fault most probably, and what can't be told: [suspect or null, the others, odds against them]. */
function judged(found, odds = ODDS) {
  const best = found.hypotheses[0], unsure = [];
  const against = (other) => Math.exp(best.log - other.log);
  const look = (i, fits) => {
    const near = found.hypotheses.filter((h) => fits(h) && against(h) < odds);
    if (!near.length) return;
    const others = near[0].faulty.some((j) => !best.faulty.includes(j)) ? near.flatMap((h) => h.faulty) : [];
    unsure.push([i, [...new Set(others)].filter((j) => !best.faulty.includes(j)), against(near[0])]);
  };
  for (const i of best.faulty) look(i, (h) => !h.faulty.includes(i));
  if (!best.faulty.length) look(null, (h) => h.faulty.length);
  return { faulty: best.faulty, chance: best.chance, unsure: unsure };
}

/** The size of a suspect, the middle of what is believed where it is at fault, in words. */
function sizeOf(found, i) {
  const own = found.hypotheses.find((h) => h.faulty.includes(i)), suspect = W.suspects[i];
  if (!own || !own.logs) return "";
  const logs = own.logs[own.faulty.indexOf(i)], places = own.coarse || W.grid.map((_, g) => g), total = sumOfLogs(logs);
  const z = logs.reduce((sum, log, a) => sum + Math.exp(log - total) * W.grid[places[a]], 0);
  const at = Math.min(Math.max((z - W.grid[0]) / (W.grid[1] - W.grid[0]), 0), W.grid.length - 1);
  const low = Math.min(Math.floor(at), W.grid.length - 2), share = at - low;
  const size = suspect.sizes[low] * (1 - share) + suspect.sizes[low + 1] * share;
  const words = (number) => suspect.share ? Math.round(100 * number) + "%" : rounded(number) + (suspect.label ? " " + suspect.label : "");
  return "about " + words(size) + ", likely " + words(suspect.likely);
}

function rounded(number) {
  return number ? Number(number.toPrecision(2)).toString() : "0";
}

/** Whether readings of the taped sheet would tell two suspects apart, by what the tables foretell. */
function tapingTells(i, others) {
  const s = R.sheets.findIndex((sheet) => sheet.blanked.length);
  if (s < 0) return null;
  const every = R.tappings.map((_, t) => ({ place: s * R.tappings.length + t, sheet: s, factor: 1, tachometer: W.tachometer }));
  const middle = (list) => {
    const g = W.grid.findIndex((z) => z >= W.faulty[0]);
    return every.map((r) => list.reduce((sum, j) => sum + W.at[(j * W.grid.length + g) * W.size + r.place] - W.sound[r.place], W.sound[r.place]));
  };
  const one = middle(i === null ? [] : [i]), two = middle(others);
  every.forEach((r, n) => { r.sd = Math.hypot(W.swing, W.share * one[n]); });
  const apart = one.map((value, n) => value - two[n]);
  logDensity(covariance(every, common(every), one, []), apart);
  return apart.reduce((sum, value) => sum + value * value, 0) > 4;
}

function advice(found, told) {
  const names = (list) => listed(list.slice(0, 4).map((j) => W.suspects[j].name));
  return told.unsure.map(([i, others, odds]) => {
    const reason = " (odds of " + digits(odds, 2) + " to 1)";
    let words;
    if (i === null) words = "These readings can't tell whether anything is at fault; " + names(others) + " would come first" + reason + ".";
    else if (!others.length) words = "These readings can't tell whether " + names([i]) + " is at fault at all" + reason + ".";
    else words = "These readings can't tell " + names([i]) + " from " + names(others) + reason + ".";
    const s = R.sheets.findIndex((sheet) => sheet.blanked.length);
    const taped = s >= 0 && R.tappings.some((_, t) => pressureIn(s, t) !== null);
    if (s >= 0 && !taped && tapingTells(i, others.slice(0, 1))) return words + " Tape all crop openings shut, read once more, and fill in sheet " + R.sheets[s].name + ".";
    return words + (i !== null && others.length > 1 ? " Look at each." : others.length && i !== null ? " Look at both." : " Look at it.");
  });
}

let drawn;
function drawReadings(wait) {
  const off = markReadings();
  clearTimeout(drawn);
  if (wait) drawn = setTimeout(() => drawFinding(off), wait);
  else drawFinding(off);
  $("csv").value = csv();
}

function markReadings() {
  const off = [];
  R.sheets.forEach((sheet, s) => {
    const factor = factors(s), speed = speedIn(s), box = $("speed-" + s);
    box.closest(".reading").classList.toggle("odd", speed !== null && !(speed > 0));
    $("speed-mark-" + s).textContent = speed === null ? "Not read: only ratios between readings count." : speed > 0 ? "" : "That is no speed.";
    R.tappings.forEach((tapping, t) => {
      const value = pressureIn(s, t), row = $("cell-" + s + "-" + t).closest(".reading"), mark = row.querySelector(".mark");
      const [low, high] = range(s, t, factor[t]), shown = suction(s, t) ? -value : value;
      row.querySelector(".range").textContent = "healthy " +
        (low / R.pascal).toFixed(R.decimals) + " to " + (high / R.pascal).toFixed(R.decimals) + " " + R.label;
      let state = "", words = "";
      if (value !== null && !isFinite(value)) [state, words] = ["odd", "That is no number."];
      else if (value !== null && shown < low) [state, words] = ["off", "▼ lower than healthy"];
      else if (value !== null && shown > high) [state, words] = ["off", "▲ higher than healthy"];
      else if (value !== null) [state, words] = ["fine", "✓ in line"];
      row.className = "reading " + state;
      if (mark.textContent !== words) mark.textContent = words;
      if (state === "off") off.push(tapping.show + (sheet.blanked.length ? " (taped)" : ""));
    });
  });
  return off;
}

function drawFinding(off) {
  const read = typed(), lines = [];
  let rows = [];
  if (!read.length) lines.push(element("p", "Type what the gauge shows; the suspects are ranked as you type."));
  else {
    lines.push(element("p", off.length ? "Out of line: " + few(off) + "." : read.length === 1 ? "The reading is in line." : "All " + read.length + " readings are in line."));
    if (W && read.length < 2) lines.push(element("p", "One reading ranks nothing: read on."));
    if (W && read.length > 1) rows = explained(read, lines);
  }
  filled($("finding"), lines);
  filled($("suspects"), rows);
  $("rule").textContent = rows.length ? "Chances by a table made beforehand. Beforehand one suspect in " + Math.round(1 / W.rate) +
    " is at fault. “Can't tell”: another explanation is less than " + ODDS + " times less probable. The fit of the program itself counts more." : "";
}

function few(names) {
  return names.length > 4 ? names.slice(0, 3).join(", ") + " and " + (names.length - 3) + " more" : listed(names);
}

function explained(read, lines) {
  const found = weigh(read), told = judged(found);
  const words = (i) => W.suspects[i].name + " (" + sizeOf(found, i) + ")";
  if (!told.faulty.length) lines.unshift(element("b", told.unsure.length ? "These readings show no fault for certain."
    : "No suspect is at fault, most probably (" + percent(told.chance) + ")."));
  else lines.unshift(element("b", "Most probably " + listed(told.faulty.map(words)) + (told.faulty.length > 1 ? " are" : " is") + " at fault (" +
    percent(Math.min(...told.faulty.map((i) => found.chances[i]))) + ")."));
  if (told.faulty.length) lines.push(element("p", "The chance that nothing else is at fault as well is " + percent(told.chance) + "."));
  for (const text of advice(found, told)) lines.push(element("p", text));
  const best = found.hypotheses[0], misfit = misfitOf(read, best);
  if (misfit > 3 * read.length) lines.push(element("p", "No one or two faults explain these readings well: look for a slip in reading or typing."));
  const order = found.chances.map((_, i) => i).sort((a, b) => found.chances[b] - found.chances[a]);
  return order.slice(0, 5).filter((i) => found.chances[i] > 0.02).map((i) => {
    const item = element("li"), head = element("div", undefined, { className: "head" }), track = element("div", undefined, { className: "track" });
    const fill = element("div", undefined, { className: "fill" });
    fill.style.width = Math.round(100 * found.chances[i]) + "%";
    track.append(fill);
    head.append(element("span", W.suspects[i].name), element("span", percent(found.chances[i])));
    item.append(head, element("small", sizeOf(found, i)), track);
    return item;
  });
}

function misfitOf(read, best) {
  const sizes = W.grid.length, sound = read.map((r) => W.sound[r.place] * r.factor);
  const shown = sound.slice();
  best.faulty.forEach((i, a) => {
    const logs = best.logs[a], places = best.coarse || W.grid.map((_, g) => g), g = places[logs.indexOf(Math.max(...logs))];
    read.forEach((r, n) => { shown[n] += W.at[(i * sizes + g) * W.size + r.place] * r.factor - sound[n]; });
  });
  const own = read.map((r, n) => r.value - shown[n]);
  logDensity(covariance(read, common(read), shown, best.faulty), own);
  return own.reduce((sum, value) => sum + value * value, 0);
}

function percent(share) { return share > 0.995 && share < 1 ? "over 99%" : Math.round(100 * share) + "%"; }

function laySheets() {
  const texts = new Set(data.beware.readings);
  filled($("reading-cautions"), data.cautions.filter((_, i) => texts.has(i)).map((text) => element("li", text)));
  $("sign").textContent = "Where a field says vacuum, 261 and -261 both mean suction; write +30 for a pressure above that outside. " +
    (R.first ? "Begin with unit " + R.first + "." : "");
  filled($("sheets"), R.sheets.map((sheet, s) => {
    const block = element("div", undefined, { className: "sheet" });
    block.append(element("h3", "Sheet " + sheet.name + ": " + sheet.title));
    if (R.speed !== null) block.append(field("speed-" + s, R.turning === "engine" ? "Engine speed" : "Fan speed", "rpm, as the tachometer shows it", "speed-mark-" + s,
      kept.speeds[sheet.name] === undefined ? plain(Math.round(R.speed)) : kept.speeds[sheet.name],
      (text) => { kept.speeds[sheet.name] = text; }));
    else block.append(hiddenSpeed(s));
    R.tappings.forEach((tapping, t) => {
      const key = cellKey(s, t), unit = R.units[tapping.show];
      const row = field("cell-" + s + "-" + t, tapping.show + (unit && !tapping.show.includes(unit) ? " (unit " + unit + ")" : ""), "", "", (kept.cells[key] || {}).text || "",
        (text) => { if (text.trim()) kept.cells[key] = { text: text }; else delete kept.cells[key]; });
      row.querySelector("label").append(element("span", suction(s, t) ? ", vacuum" : ", pressure"));
      if (tapping.unsafe) row.querySelector("label").append(element("small", " Not while anything turns: access is unsafe."));
      block.append(row);
    });
    return block;
  }));
}

function hiddenSpeed(s) {
  const row = field("speed-" + s, "", "", "speed-mark-" + s, "", () => {});
  row.hidden = true;
  return row;
}

function field(id, name, range, mark, value, take) {
  const row = element("div", undefined, { className: "reading" });
  const label = element("label", name, { htmlFor: id });
  const input = element("input", undefined, { type: "text", id: id, value: value, autocomplete: "off", enterKeyHint: "next" });
  input.inputMode = "decimal";
  const words = element("div", "", { className: "mark", id: mark || id + "-mark" });
  input.setAttribute("aria-describedby", words.id);
  input.addEventListener("input", () => { take(input.value); drawReadings(150); keep(); });
  input.addEventListener("keydown", (event) => { if (event.key === "Enter") next(input); });
  row.append(label, element("div", range, { className: "range" }), input, words);
  return row;
}

/** Enter goes on to the next field, as on paper. */
function next(input) {
  const every = Array.from(document.querySelectorAll("#sheets input")).filter((one) => one.offsetParent !== null);
  const there = every[every.indexOf(input) + 1];
  if (there) there.focus(); else input.blur();
}
