// One litter: how it stands, what can be entered next, and all that was written about it. And the past of a nest, or of a doe.
import { el } from "../dom.js";
import { texts } from "../texts.js";
import * as units from "../units.js";
import { way } from "../ways.js";
import { ask } from "./data.js";
import { openForm } from "./form.js";
import { lookDeeds, noticedWords } from "./nests.js";
import { now, queue } from "./queue.js";
import { choiceWords, fullDay, litterTitle, stepWords, whenWords } from "./words.js";

const said = texts.book;

// Past is the view behind #/book/litter/N, nest/ID and doe/NAME. What was shown last stays until something newer comes.
export class Past {
  node = el("div", { class: "past-view" });
  #of = "";
  #told = null;
  #failed = "";

  async open(kind, name) {
    const of = `${kind}/${encodeURIComponent(name)}`;
    if (this.#of !== of) {
      this.#of = of;
      this.#told = null;
      this.#failed = "";
      this.node.replaceChildren(el("p", { role: "status", text: said.loading }));
    }
    await this.refresh();
  }

  async refresh() {
    const of = this.#of;
    try {
      const told = await ask(`api/book/${of}`);
      if (of !== this.#of) return;
      this.#told = told;
      this.#failed = "";
    } catch (e) {
      if (of !== this.#of) return;
      this.#failed = e.name === "TypeError" || e.name === "TimeoutError" ? said.outOfReach : e.message;
    }
    this.draw();
  }

  draw() {
    const told = this.#told;
    const key = JSON.stringify([told, this.#failed, queue.items.map((i) => [i.key, i.state])]);
    if (this.node.dataset.drawn === key) return; // what has not changed keeps its focus
    this.node.dataset.drawn = key;
    const focus = document.activeElement?.closest?.("[data-focus]")?.dataset.focus;
    const open = [...this.node.querySelectorAll("details[open]")].map((d) => d.dataset.key);
    const failed = this.#failed ? [el("p", { class: "wrong", role: "status", text: said.notRead(this.#failed) })] : [];
    this.node.replaceChildren(...failed, ...(told ? (told.litter ? litterParts(told) : pastParts(told)) : []));
    for (const d of this.node.querySelectorAll("details")) d.open = open.includes(d.dataset.key);
    if (focus) this.node.querySelector(`[data-focus="${CSS.escape(focus)}"]`)?.focus({ preventScroll: true });
  }
}

const button = (key, words, does, { strong = false, name = words } = {}) => el("button", { type: "button", class: strong ? "take" : "", text: words, "aria-label": name, "data-focus": key, onclick: does });

const part = (heading, ...children) => el("section", {}, el("h3", { text: heading }), ...children);

function litterParts({ litter: l, story, sum, partners }) {
  const form = (what, more = {}) => openForm({ kind: "entry", what, litter: l.litter, nest: l.nest, ...more });
  const looks = l.noticed && l.day !== null ? lookDeeds(l.nest, l).slice(1).map((d) => button(d.key, d.words, d.does)) : l.kindled && l.day !== null ? lookDeeds(l.nest, l).map((d) => button(d.key, d.words, d.does, { strong: d.strong })) : [];
  const steps = l.steps.filter((what) => what !== "lost" || looks.length === 0).map((what, i) => button(what, stepWords(what), () => (what === "fostered-out" ? openForm({ kind: "foster", what, litter: l.litter, nest: l.nest }) : form(what)), { strong: (looks.length === 0 || l.noticed !== null) && i === 0 }));
  const facts = [
    [said.facts.alive, l.alive === null ? said.uncounted : String(l.alive)], [said.facts.born, l.born === null ? "–" : String(l.born)], [said.facts.dead, l.dead === null ? "–" : String(l.dead)],
    ...Object.entries(sum.lost).map(([cause, n]) => [said.facts.lost(choiceWords("cause", cause)), String(n)]),
  ];
  return [
    el("h2", { text: said.litterIn(l.litter, l.nest) }), el("p", { class: "lead", text: litterTitle(l) }), ...(l.stands && !l.noticed ? [el("p", { text: l.stands })] : []),
    ...(l.noticed ? [el("p", { class: "notice-line", text: noticedWords(l) })] : []),
    ...onWay((i) => i.litter === l.litter),
    el("div", { class: "buttons looks" }, ...looks), part(said.nextSteps, el("div", { class: "buttons" }, ...steps)),
    ...(l.kindled ? [el("dl", { class: "sums" }, ...facts.map(([name, value]) => el("div", {}, el("dt", { text: name }), el("dd", { text: value }))))] : []),
    ...(partners.length > 0 ? [part(said.partners, el("ul", { class: "list" }, ...partners.map((p) => el("li", { class: "row" }, el("span", { text: `${p.nest}: ${litterTitle(p)}` }),
      button(`foster-${p.litter}`, said.fosterThere, () => openForm({ kind: "foster", what: "fostered-out", litter: l.litter, nest: l.nest, values: { with: String(p.litter) } }), { name: `${said.fosterThere} ${p.nest}` })))))] : []),
    part(said.story, el("ol", { class: "list story" }, ...story.toReversed().map(entryItem))),
    el("p", { class: "links" }, link(way("book", "nest", l.nest), said.pastOfNest(l.nest)), ...(l.doe ? [link(way("book", "doe", l.doe), said.pastOfDoe(l.doe))] : []), el("a", { class: "go", href: l.report, text: said.report }), link(way("nest", l.nest), said.graph(l.nest))),
  ];
}

const link = (href, words) => el("a", { class: "go", href, text: words });

const onWay = (about) => {
  const mine = queue.items.filter((i) => about(i) && i.state !== "unusual");
  return mine.length === 0 ? [] : [el("ul", { class: "onway" }, ...mine.map((i) => el("li", { class: `is-${i.state}`, text: said.onWay(said.queue[i.state], i.what, units.moment(Date.parse(i.on), now())) })))];
};

// entryItem is one entry with what became of it. What still counts can be corrected or struck.
function entryItem(e) {
  const struck = Boolean(e.replaced_by);
  const marks = [];
  if (e.replaces && e.what !== "struck") marks.push(said.inPlaceOf(e.replaces));
  if (struck) marks.push(said.counts(e.replaced_by));
  const counts = !struck && e.what !== "struck";
  const about = said.entry(e.id, e.said);
  const li = el("li", { class: struck ? "entry is-struck" : "entry" },
    el("p", {}, el("strong", { text: whenWords(e, now()) }), " ", el(struck ? "del" : "span", { text: e.said })),
    el("p", { class: "quiet", text: [said.number(e.id), ...marks, e.by ? said.by(e.by) : ""].filter(Boolean).join(" · ") }));
  if (!counts) return li;
  const form = (kind) => () => openForm({ kind, what: e.what, litter: e.litter ?? null, nest: e.nest ?? null, entry: e, values: e.row });
  li.append(el("details", { class: "more", "data-key": `more-${e.id}` }, el("summary", { text: said.change, "aria-label": `${said.change}: ${about}` }), el("div", { class: "buttons" },
    button(`correct-${e.id}`, said.correctButton, form("correct"), { name: `${said.correctButton}: ${about}` }), button(`strike-${e.id}`, said.strikeButton, form("strike"), { name: `${said.strikeButton}: ${about}` }))));
  return li;
}

function pastParts({ nest, doe, litters, entries, sum, more }) {
  const counted = [said.sums.litters(sum.litters), said.sums.kindled(sum.kindled)];
  if (sum.counted > 0) counted.push(said.sums.born(sum.born, sum.counted), said.sums.dead(sum.dead));
  if (sum.weaned > 0) counted.push(said.sums.weaned(sum.alive, sum.weaned));
  const lost = Object.entries(sum.lost).map(([cause, n]) => said.sums.lost(n, choiceWords("cause", cause)));
  const whats = nest ? [["bred", {}], ["kindled", {}], ["carried-in", {}], ["carried-out", {}], ["did", {}], ["noted", {}]] : [];
  return [
    el("h2", { text: nest ? said.pastOfNest(nest) : said.pastOfDoe(doe) }), ...onWay((i) => nest && i.nest === nest && !i.litter),
    ...(whats.length > 0 ? [part(said.enterHere, el("div", { class: "buttons" }, ...whats.map(([what]) => button(what, stepWords(what), () => openForm({ kind: "entry", what, nest })))))] : []),
    el("p", { text: [...counted, ...lost].join(", ") }),
    part(said.litters, litterList(litters)),
    ...(entries.length > 0 ? [part(said.written, el("ol", { class: "list story" }, ...entries.map(entryItem)), ...(more ? [el("p", { class: "quiet", text: said.newestOnly(entries.length) })] : []))] : []),
  ];
}

// litterList is litters, one a line, each leading to its own view.
export function litterList(litters) {
  return el("ul", { class: "list litters" }, ...litters.map((l) => el("li", {}, el("a", { href: way("book", "litter", String(l.litter)) }, el("strong", { text: `${l.nest || said.litter(l.litter)}` }), el("span", { text: litterTitle(l) }), el("small", { class: "quiet", text: [spanOf(l), l.stands].filter(Boolean).join(" · ") })))));
}

const spanOf = (l) => [l.kindled ? said.bornOn(fullDay(Date.parse(l.kindled))) : l.bred ? said.bredOn(fullDay(Date.parse(l.bred))) : "", l.ended ? said.endedOn(fullDay(Date.parse(l.ended))) : ""].filter(Boolean).join(", ");
