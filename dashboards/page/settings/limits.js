// The limits by age: each number with where it comes from, changed in a draft that can be looked at before it counts.
import { act, can, isBusy } from "../act.js";
import { deviceName } from "../device.js";
import { el, setText } from "../dom.js";
import { changeWords, limitWords } from "../limitwords.js";
import { texts } from "../texts.js";
import * as units from "../units.js";
import { why } from "../why.js";
import { makePreview } from "./preview.js";

const said = texts.settings.limits;
const places = ["nest_air", "cluster"];
const shown = [1, 0, 2, 3]; // of a row's limits, from the coldest to the hottest
const step = 0.5; // degrees of the unit that is shown

// Of a limit's four: the colder two come first, and of each pair the warning.
const isHeat = (i) => i >= 2;
const isCritical = (i) => i % 2 === 1;

const fromShown = (v) => Math.round((units.display() === "fahrenheit" ? (v - 32) / 1.8 : v) * 100) / 100;

export function makeLimits() {
  const node = el("section", { id: "limits" });
  const locked = el("p", { class: "locked", hidden: true });
  const wrong = el("ul", { class: "list aside" });
  const unread = el("p", { class: "wrong", role: "status" });
  const tables = el("div", { class: "tables" });
  const draftBox = el("div", { class: "draft", hidden: true });
  const changes = el("details", { class: "more-changes" }, el("summary", { text: said.changes }), el("ul", { class: "list" }));
  const preview = makePreview();
  node.append(el("h2", { text: said.heading }), el("p", { class: "quiet", text: said.why }), locked, unread, wrong, tables, el("p", { class: "quiet", text: said.key }), draftBox, preview.node, changes);

  let settings = null;
  const draft = new Map(); // cell → {place, key, from, to, limit_c}
  const cellOf = (place, key, from, to) => `${place}/${key}/${from}-${to}`;
  const wishes = () => [...draft.values()];

  // draw shows what is in force, and the draft over it, where either is another than what is shown.
  let drawn = "";
  function draw() {
    const now = JSON.stringify([settings.revision, settings.aside, settings.wrong, units.display(), units.timezone(), can.asked, can.changes, isBusy("limits", "preview"), isBusy("limits", "force"), wishes(), settings.limits]);
    if (now === drawn) return;
    drawn = now;
    locked.hidden = can.changes || !can.asked;
    setText(locked, texts.locked);
    const bad = [...(settings.wrong ? [said.wrong(settings.wrong)] : []), ...settings.aside.map((a) => said.aside(limitWords(a), units.temperature(a.limit_c), a.why))];
    wrong.replaceChildren(...bad.map((t) => el("li", { class: "wrong", text: t })));
    const focused = document.activeElement?.dataset?.cell;
    tables.replaceChildren(...places.map(tableOf));
    if (focused) tables.querySelector(`[data-cell="${focused}"]`)?.focus({ preventScroll: true });
    drawDraft();
    changes.hidden = settings.changes.length === 0;
    changes.lastElementChild.replaceChildren(...settings.changes.map((c) => el("li", {}, el("p", { class: "quiet", text: `${units.dateAndClock(Date.parse(c.at))}, ${texts.ways[c.by] ?? c.by}` }),
      ...c.items.map((i) => el("p", { text: changeWords(i) })))));
  }

  function tableOf(place) {
    const rows = settings.limits.filter((r) => r.place === place);
    const keys = rows[0].limits.map((l) => l.key);
    return el("table", { class: "limits-table" },
      el("caption", { text: `${said.places[place]}, ${units.unitSign()}` }),
      el("thead", {}, el("tr", {}, el("th", { scope: "col", text: said.age }), ...shown.map((i) => el("th", { scope: "col", class: isHeat(i) ? "hot" : "cold", text: said.keys[keys[i]] })))),
      el("tbody", {}, ...rows.map((r) => el("tr", {}, el("th", { scope: "row", text: said.span(r.from, r.to) }), ...shown.map((i) => el("td", {}, cell(r, i)))))));
  }

  function cell(row, i) {
    const l = row.limits[i];
    const id = cellOf(row.place, l.key, row.from, row.to);
    const wish = draft.get(id);
    const c = wish ? wish.limit_c ?? l.beneath_c : l.limit_c;
    const mark = wish ? said.marks.draft : said.marks[l.origin];
    return el("button", {
      type: "button", class: `cell is-${wish ? "draft" : l.origin}`, "data-cell": id, "aria-label": said.cell(limitWords({ ...row, key: l.key }), units.limitNumber(c), mark), onclick: () => edit(row, i),
    }, el("span", { text: units.limitNumber(c) }), mark ? " " : null, el("small", { text: mark }));
  }

  // edit asks for one number.
  function edit(row, i) {
    const l = row.limits[i];
    const id = cellOf(row.place, l.key, row.from, row.to);
    const wish = draft.get(id);
    const c = wish ? wish.limit_c ?? l.beneath_c : l.limit_c;
    const input = el("input", { id: "limit-value", type: "number", inputmode: "decimal", step: "any", required: true, value: String(Math.round(units.degrees(c) * 10) / 10), "aria-describedby": "limit-wrong" });
    const bad = el("p", { id: "limit-wrong", role: "alert" });
    const node = el("dialog", { class: "editor", "aria-labelledby": "limit-name" });
    const by = (d) => el("button", { type: "button", class: "stepper", "aria-label": d < 0 ? said.lower(step) : said.higher(step), text: d < 0 ? "−" : "+", onclick: () => (input.value = String(Math.round((Number(input.value) + d) * 10) / 10)) });
    const form = el("form", { novalidate: true },
      el("h2", { id: "limit-name", text: limitWords({ ...row, key: l.key }) }),
      el("p", { text: said.means(isHeat(i), isCritical(i), l.notice, units.span(l.delay_s)) }),
      el("label", { for: "limit-value", text: said.value(units.unitSign()) }),
      el("div", { class: "stepping" }, by(-step), input, by(step)), bad,
      el("ul", { class: "rest" }, el("li", { text: said.inForce(units.temperature(l.limit_c), originOf(l)) }), el("li", { class: "quiet", text: texts.why.source(l.source) }),
        ...(l.limit_c === l.shipped_c ? [] : [el("li", { text: said.shipped(units.temperature(l.shipped_c)) })])),
      el("div", { class: "buttons" },
        can.changes ? el("button", { type: "submit", class: "take", text: said.draft }) : null,
        l.origin === "page" && can.changes ? el("button", { type: "button", class: "back", text: said.back(units.temperature(l.beneath_c)), onclick: () => done(null) }) : null,
        wish ? el("button", { type: "button", text: said.forget, onclick: () => (draft.delete(id), close()) }) : null,
        el("button", { type: "button", text: texts.login.cancel, onclick: () => close() })));
    const close = () => (node.close(), draw());
    const done = (value) => {
      draft.set(id, { place: row.place, key: l.key, from: row.from, to: row.to, limit_c: value });
      if (value !== null && value === l.limit_c) draft.delete(id);
      close();
    };
    form.onsubmit = (e) => {
      e.preventDefault();
      const value = Number(input.value.replace(",", "."));
      if (input.value === "" || !Number.isFinite(value)) return setText(bad, said.notANumber);
      const why = outOfOrder(row, i, fromShown(value));
      if (why) return setText(bad, why);
      done(Math.abs(fromShown(value) - l.limit_c) < 0.03 ? l.limit_c : fromShown(value)); // as it is shown, it is what it was
    };
    node.append(form);
    node.addEventListener("close", () => {
      node.remove();
      tables.querySelector(`[data-cell="${id}"]`)?.focus();
    });
    document.body.append(node);
    node.showModal();
    input.select();
  }

  // outOfOrder says which neighbour a number would pass: they must rise from cold to hot.
  function outOfOrder(row, i, c) {
    const value = (k) => {
      const wish = draft.get(cellOf(row.place, row.limits[k].key, row.from, row.to));
      return wish ? wish.limit_c ?? row.limits[k].beneath_c : row.limits[k].limit_c;
    };
    const at = shown.indexOf(i);
    const below = shown[at - 1];
    const above = shown[at + 1];
    if (below !== undefined && c <= value(below)) return said.mustExceed(said.keys[row.limits[below].key], units.temperature(value(below)));
    if (above !== undefined && c >= value(above)) return said.mustStayUnder(said.keys[row.limits[above].key], units.temperature(value(above)));
    return "";
  }

  const originOf = (l) => (l.origin === "page" ? said.origins.page(l.by === "page" ? "" : l.by, units.dateAndClock(Date.parse(l.at))) : l.origin === "file" ? said.origins.file(l.line) : said.origins.shipped);

  function drawDraft() {
    const all = wishes();
    draftBox.hidden = all.length === 0;
    preview.update(all, settings);
    if (all.length === 0) return;
    const list = el("ul", { class: "list" }, ...[...draft].map(([id, w]) => {
      const l = factOf(w);
      return el("li", { class: laxer(w) ? "wrong" : "" }, el("p", { text: said.changed(limitWords(w), units.temperature(l.limit_c), units.temperature(w.limit_c ?? l.beneath_c), w.limit_c === null) }),
        el("button", { type: "button", text: said.forget, "aria-label": `${said.forget}: ${limitWords(w)}`, onclick: () => (draft.delete(id), draw()) }));
    }));
    const busy = (b) => isBusy("limits", b);
    draftBox.replaceChildren(el("h3", { text: said.draftHeading(all.length) }), list, el("div", { class: "buttons" },
      el("button", { type: "button", class: "take", id: "limits-preview", text: busy("preview") ? texts.doing.sending : texts.settings.preview.button, onclick: start }),
      el("button", { type: "button", id: "limits-force", text: busy("force") ? texts.doing.button : said.force, onclick: force }),
      el("button", { type: "button", text: said.drop, onclick: () => (draft.clear(), draw()) })));
  }

  const factOf = (w) => settings.limits.find((r) => r.place === w.place && r.from === w.from && r.to === w.to)?.limits.find((l) => l.key === w.key);

  // laxer tells whether a limit would let pass what neither the shipped one nor the present one does.
  function laxer(w) {
    const l = factOf(w);
    const c = w.limit_c ?? l.beneath_c;
    return w.key.startsWith("heat") ? c > l.shipped_c && c > l.limit_c : c < l.shipped_c && c < l.limit_c;
  }

  async function start() {
    const all = wishes();
    const answer = await act("limits", "preview", "api/settings/preview", { revision: settings.revision, limits: all, by: deviceName(), sure: false }, texts.settings.preview.what,
      { saving: texts.settings.preview.starting, saved: texts.settings.preview.started });
    if (answer !== null) preview.follow();
    else await read();
  }

  async function force() {
    const risky = wishes().filter(laxer);
    if (risky.length > 0 && !(await sure(risky))) return;
    const answer = await act("limits", "force", "api/settings/limits", { revision: settings.revision, limits: wishes(), by: deviceName(), sure: risky.length > 0 }, said.what);
    if (answer !== null) draft.clear();
    await read();
  }

  // sure says what the laxer limits mean, and asks once more.
  function sure(risky) {
    return new Promise((decide) => {
      const node = el("dialog", { class: "editor", "aria-labelledby": "sure-name" });
      let yes = false;
      node.append(el("form", { method: "dialog" }, el("h2", { id: "sure-name", text: said.sure }),
        el("ul", { class: "list" }, ...risky.map((w) => {
          const l = factOf(w);
          return el("li", { class: "wrong" }, el("p", { text: said.risk(said.places[w.place], said.days(w.from, w.to), units.temperature(w.limit_c ?? l.beneath_c), units.temperature(l.shipped_c), w.key) }));
        })),
        el("div", { class: "buttons" }, el("button", { type: "button", text: texts.login.cancel, onclick: () => node.close() }), el("button", { type: "button", class: "sure", text: said.iAmSure, onclick: () => ((yes = true), node.close()) }))));
      node.addEventListener("close", () => (node.remove(), decide(yes)));
      document.body.append(node);
      node.showModal();
    });
  }

  async function read() {
    try {
      const answer = await fetch("api/settings", { signal: AbortSignal.timeout(10e3) });
      const got = await answer.json();
      if (!answer.ok) throw new Error(got.error);
      settings = got;
      setText(unread, "");
      for (const [id, w] of draft) if (!factOf(w)) draft.delete(id); // the rows were cut otherwise meanwhile
      draw();
    } catch (e) {
      setText(unread, settings ? said.stale(why(e)) : said.unreadable(why(e)));
    }
    return settings;
  }

  return { node, read, settings: () => settings, draw: () => settings && draw(), open: () => preview.follow(), shut: () => preview.leave() };
}
