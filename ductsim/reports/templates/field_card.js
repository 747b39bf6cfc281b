"use strict";
(function () {
const data = JSON.parse(document.getElementById("data").textContent);
const $ = (id) => document.getElementById(id);

// ---- small things

function element(tag, words, more) {
  const out = document.createElement(tag);
  if (words !== undefined) out.textContent = words;
  Object.assign(out, more || {});
  return out;
}

function filled(place, children) { place.replaceChildren(...children); }

function unpacked(packed) {
  const text = atob(packed.bytes), bytes = new Uint8Array(text.length);
  for (let i = 0; i < text.length; i++) bytes[i] = text.charCodeAt(i);
  const kinds = { "<f8": Float64Array, "<f4": Float32Array, "<u4": Uint32Array, "<u2": Uint16Array };
  return new kinds[packed.kind](bytes.buffer);
}

function listed(words) {
  if (words.length < 2) return words.join("");
  return words.slice(0, -1).join(", ") + " and " + words[words.length - 1];
}

/** A number with three digits that count, as the sentences of the program have it. */
function digits(number, count, sign) {
  if (!isFinite(number)) return "unknown";
  if (Math.abs(number) < 5e-7) return "0";
  const places = count - 1 - Math.floor(Math.log10(Math.abs(number)));
  return (sign && number > 0 ? "+" : "") + number.toFixed(Math.min(Math.max(places, 0), 6));
}

function minutes(count) { return plain(count) + (count === 1 ? " minute" : " minutes"); }
function plain(number) { return String(Math.round(number * 100) / 100); }

// ---- what is kept: this page's own place in the browser, where there is one

const kept = { ticked: [], stop: null, within: "60", cells: {}, speeds: {}, others: null, part: "fixes" };
let keeping = true;
try {
  Object.assign(kept, JSON.parse(window.localStorage.getItem(data.key) || "{}"));
} catch (error) { keeping = false; }

function keep() {
  try {
    window.localStorage.setItem(data.key, JSON.stringify(kept));
    keeping = true;
  } catch (error) { keeping = false; }
  $("kept").textContent = keeping ? "What you type is kept in this browser."
    : "This browser keeps nothing: save the CSV before you close the page.";
}

// ---- fixes: every answer stands in a table

const F = data.fixes;
let rowOf, T;

function prepare() {
  T = { answer: unpacked(F.answer.data), weakest: unpacked(F.weakest), verdict: unpacked(F.verdict) };
  for (const name of Object.keys(F.tables)) T[name] = unpacked(F.tables[name].data);
  if (F.power) T.power = unpacked(F.power.data);
  rowOf = new Map();
  F.masks.forEach((mask, k) => rowOf.set(mask, k));
  F.bits = F.list.filter((fix) => fix.bit !== undefined);
  F.base = F.answer.over / F.answer.times;
}

/** The sets are whole numbers whose bits are fixes: more than 32 of them, so no bitwise operators. */
function maskOf(ticked) {
  return ticked.reduce((sum, i) => sum + (F.list[i].bit === undefined ? 0 : Math.pow(2, F.list[i].bit)), 0);
}

function cell(name, v, k, u) {
  const table = name === "power" ? F.power : F.tables[name];
  const width = name === "power" ? 1 : data.units.length;
  const code = T[name][(v * F.masks.length + k) * width + u];
  return code === table.missing ? NaN : (code + table.low) / Math.pow(10, table.decimals);
}

/** What ticked fixes come to at an engine speed: from the table, or put together from pairs. */
function result(ticked, stop) {
  for (const [i, j, words] of F.conflicts)
    if (ticked.includes(i) && ticked.includes(j)) return { verdict: "contradiction", words: words };
  const turning = ticked.filter((i) => F.list[i].stop !== undefined);
  const v = turning.length ? F.list[turning[0]].stop : stop;
  const own = ticked.filter((i) => F.list[i].bit !== undefined);
  const k = rowOf.get(maskOf(own));
  if (k !== undefined) return solved(v, k);
  return F.exact ? { verdict: "impossible", words: "These fixes cannot be put together." } : approximated(v, own);
}

function solved(v, k) {
  const size = F.masks.length, [verdict, words] = F.verdicts[T.verdict[v * size + k]];
  const out = { v: v, k: k, verdict: verdict, words: words, answer: T.answer[v * size + k] * F.base - F.answer.shift,
    weakest: T.weakest[v * size + k] - 1, units: {}, power: F.power ? cell("power", v, k, 0) : NaN, exact: true };
  for (const name of Object.keys(F.tables)) out.units[name] = data.units.map((_, u) => cell(name, v, k, u));
  return out;
}

function approximated(v, own) {
  const at = (list) => solved(v, rowOf.get(maskOf(list)));
  const parts = [[1, at([])]];
  const weight = 1 - own.length;
  let single = [], pairs = [];
  for (let a = 0; a < own.length; a++) {
    single.push(at([own[a]]));
    for (let b = 0; b < a; b++) pairs.push(at([own[a], own[b]]));
  }
  const refused = single.concat(pairs).find((part) => part.verdict);
  const sum = (pick) => {
    const base = pick(parts[0][1]);
    let out = base;
    for (const part of single) out += (2 - own.length) * (pick(part) - base);
    for (const part of pairs) out += pick(part) - base;
    return out;
  };
  const out = { v: v, verdict: refused ? refused.verdict : "", words: refused ? refused.words : "", exact: false,
    answer: sum((p) => p.answer), power: sum((p) => p.power), units: {} };
  for (const name of Object.keys(F.tables)) out.units[name] = data.units.map((_, u) => sum((p) => p.units[name][u]));
  const vacuum = out.units.vacuum || [];
  out.weakest = vacuum.length ? vacuum.indexOf(Math.min(...vacuum)) : -1;
  return out;
}

function work(ticked) {
  return ticked.reduce((sum, i) => [sum[0] + F.list[i].minutes, sum[1] + F.list[i].cost], [0, 0]);
}

const TIE = 1e-7, NOTICED = 0.005;

/** The best allowed set within a time: most gain, then least time, cost and number of fixes. */
function best(within, stop) {
  const size = F.masks.length, today = solved(F.today, 0), sign = F.more_is_better ? 1 : -1;
  const tie = TIE * Math.max(Math.abs(T.answer[F.today * size]), 1e-12);
  const members = F.masks.map((mask) => F.bits.map((_, i) => i).filter((i) => Math.floor(mask / Math.pow(2, i)) % 2));
  const ways = [[null, stop]].concat(F.list.map((fix, i) => [i, fix.stop]).filter((way) => way[1] !== undefined));
  const bit = new Map(F.list.map((fix, i) => [fix.bit, i]));
  let found = null;
  for (const [turn, v] of ways) for (let k = 0; k < size; k++) {
    if (T.verdict[v * size + k]) continue;
    const list = members[k].map((i) => bit.get(i)).concat(turn === null ? [] : [turn]);
    const clash = turn !== null && F.conflicts.some(([i, j]) => (i === turn && list.includes(j)) || (j === turn && list.includes(i)));
    const [time, cost] = work(list);
    if (clash || time > within * (1 + 1e-12)) continue;
    const gain = sign * (T.answer[v * size + k] - T.answer[F.today * size]);
    const key = [-Math.round(gain / tie), time, cost, list.length];
    if (!found || before(key, found.key)) found = { key: key, list: list, gain: gain };
  }
  return found && { list: worthDoing(found.list, stop, sign, today), exact: F.exact };
}

function before(one, other) {
  for (let i = 0; i < one.length; i++) if (one[i] !== other[i]) return one[i] < other[i];
  return false;
}

/** Without fixes that add less than half a per cent. */
function worthDoing(list, stop, sign) {
  const least = NOTICED * Math.abs(result([], F.today).answer);
  for (;;) {
    let pick = null;
    for (const i of list) {
      const fewer = list.filter((j) => j !== i), there = result(fewer, stop);
      if (there.verdict === "" && (!pick || sign * there.answer > sign * pick[1])) pick = [fewer, there.answer];
    }
    if (!pick || sign * (result(list, stop).answer - pick[1]) >= least) return list;
    list = pick[0];
  }
}

function stopNow() { return kept.stop === null || kept.stop >= F.stops.length ? F.today : kept.stop; }

function drawFixes() {
  const ticked = kept.ticked.filter((i) => i < F.list.length);
  const turning = ticked.find((i) => F.list[i].stop !== undefined);
  const stop = turning === undefined ? stopNow() : F.list[turning].stop;
  const now = result([], F.today), then = result(ticked, stop);
  drawOutcome(now, then, ticked);
  drawSpeed(stop, turning);
  drawGains(ticked, stop, then);
  drawUnits(now, then);
  const texts = new Set(ticked.length ? ticked.flatMap((i) => F.list[i].cautions) : F.list.flatMap((f) => f.cautions));
  filled($("fix-cautions"), data.cautions.filter((_, i) => texts.has(i)).map((text) => element("li", text)));
}

function drawOutcome(now, then, ticked) {
  const label = F.answer.label, answer = $("answer");
  $("answer-label").textContent = F.label.charAt(0).toUpperCase() + F.label.slice(1);
  const known = isFinite(then.answer);
  const change = now.answer ? Math.round(100 * (then.answer - now.answer) / Math.abs(now.answer)) : 0;
  answer.textContent = digits(now.answer, 3) + " → " + (known ? digits(then.answer, 3) : "unknown") + " " + label +
    (known && now.answer ? " (" + (change > 0 ? "+" : "") + (change || 0) + "%)" : "");
  const refused = then.verdict !== "";
  $("outcome").classList.toggle("no", refused);
  $("verdict").classList.toggle("no", refused);
  const what = { "not allowed": "Not allowed: ", contradiction: "Cannot be done: ", impossible: "Cannot be done: ",
    "no answer": "No answer: " };
  let words = refused ? what[then.verdict] + then.words : "No limit is passed.";
  if (!refused && F.weakest_asked && then.weakest >= 0) words = "Unit " + data.units[then.weakest] + " is weakest. " + words;
  if (known && !then.exact) words += " " + F.approximation;
  $("verdict").textContent = words;
  const [time, cost] = work(ticked);
  const power = F.power && isFinite(then.power) ? "Power at the fans' shafts " + now.power.toFixed(F.power.decimals) + " → " +
    then.power.toFixed(F.power.decimals) + " " + F.power.label + ". " : "";
  $("work").textContent = power + (ticked.length ? minutes(time) + " of work" + (cost ? ", cost " + plain(cost) : "") + "."
    : "Nothing is ticked.");
}

function drawSpeed(stop, turning) {
  $("speed-row").hidden = F.stops.length < 2;
  const slider = $("speed");
  slider.max = F.stops.length - 1;
  slider.value = stop;
  slider.setAttribute("aria-valuetext", F.stops[stop]);
  $("speed-label").textContent = F.stops[stop] + (stop === F.today ? ", as now" : "");
  const fixed = turning !== undefined;
  slider.disabled = fixed;
  $("slower").disabled = fixed || stop === 0;
  $("faster").disabled = fixed || stop === F.stops.length - 1;
  $("speed-note").textContent = fixed ? "Set by: " + F.list[turning].name + "."
    : "Every speed that can be chosen is computed; none is estimated from others.";
}

function drawGains(ticked, stop, then) {
  F.list.forEach((fix, i) => {
    const has = ticked.includes(i), rest = ticked.filter((j) => j !== i);
    const off = has ? result(rest, stopNow()) : then, on = has ? then : result(ticked.concat([i]), stop);
    const box = $("fix-" + i), told = box.closest(".fix");
    box.checked = has;
    const gain = told.querySelector(".gain"), why = told.querySelector(".no");
    const more = on.answer - off.answer, little = Math.abs(more) < NOTICED * Math.abs(result([], F.today).answer);
    gain.textContent = !isFinite(more) ? "" : little ? "hardly any" : digits(more, 3, true) + " " + F.answer.label;
    why.textContent = on.verdict && !off.verdict ? (on.verdict === "not allowed" ? "Not allowed: " : "") + on.words : "";
    why.hidden = !why.textContent;
  });
}

const WORDS = { vacuum: "Vacuum", opening_air: "Opening air", duct_air: "Duct air",
  ground_speed: "Ground speed" };

function drawUnits(now, then) {
  const blocks = data.units.map((unit, u) => {
    const weakest = then.weakest === u, block = element("div", undefined, { className: "unit" + (weakest ? " weakest" : "") });
    const head = element("b", "Unit " + unit + (weakest ? ", the weakest then" : ""));
    const list = element("dl");
    for (const name of Object.keys(F.tables)) {
      const table = F.tables[name], pair = element("div"), value = element("dd");
      const shown = (number) => isFinite(number) ? number.toFixed(table.decimals) : "–";
      value.append(shown(now.units[name][u]) + " → ", element("b", then.units ? shown(then.units[name][u]) : "–"), " " + table.label);
      value.dataset.what = name;
      pair.append(element("dt", WORDS[name]), value);
      list.append(pair);
    }
    block.append(head, list);
    return block;
  });
  filled($("units"), blocks);
  const top = F.highest_speed ? " Its maker allows " + F.highest_speed + "." : "";
  $("ground-note").textContent = F.ground_note ? F.ground_note + top : "";
}

function layFixes() {
  filled($("fix-list"), F.list.map((fix, i) => {
    const row = element("label", undefined, { className: "fix" });
    const box = element("input", undefined, { type: "checkbox", id: "fix-" + i });
    const name = element("span", fix.name, { className: "name" });
    name.append(element("small", minutes(fix.minutes) + (fix.cost ? ", cost " + plain(fix.cost) : "")),
      element("small", "", { className: "no" }));
    row.append(box, name, element("span", "", { className: "gain" }));
    box.addEventListener("change", () => {
      kept.ticked = kept.ticked.filter((j) => j !== i).concat(box.checked ? [i] : []).sort((a, b) => a - b);
      changed();
    });
    return row;
  }));
  filled($("fix-errors"), F.errors.map((text) => element("p", "Not computed: " + text)));
  const changed = () => { drawFixes(); keep(); };
  const turn = (stop) => { kept.stop = Math.min(Math.max(stop, 0), F.stops.length - 1); changed(); };
  $("speed").addEventListener("input", () => turn(Number($("speed").value)));
  $("slower").addEventListener("click", () => turn(stopNow() - 1));
  $("faster").addEventListener("click", () => turn(stopNow() + 1));
  $("untick").addEventListener("click", () => { kept.ticked = []; $("best-words").textContent = ""; changed(); });
  $("within").value = kept.within;
  $("within").addEventListener("input", () => { kept.within = $("within").value; keep(); });
  $("within").addEventListener("keydown", (event) => { if (event.key === "Enter") tickBest(); });
  $("tick-best").addEventListener("click", tickBest);
  function tickBest() {
    const within = numberIn($("within").value);
    if (!(within >= 0)) { $("best-words").textContent = "Type the minutes there are, like 60."; return; }
    const turning = kept.ticked.some((i) => F.list[i].stop !== undefined);
    const found = best(within, turning ? F.today : stopNow());
    kept.ticked = found ? found.list.slice().sort((a, b) => a - b) : [];
    $("best-words").textContent = !found || !found.list.length ? "Nothing that can be done in " + minutes(within) + " makes it better by half a per cent or more."
      : "Within " + minutes(within) + " the best is " + listed(kept.ticked.map((i) => F.list[i].name)) +
        (F.exact ? "." : ", of single fixes and pairs.");
    changed();
  }
}

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
})();
