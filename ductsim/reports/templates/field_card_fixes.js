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
