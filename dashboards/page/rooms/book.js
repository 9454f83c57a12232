// The litter book: every nest with what is entered there most, what is to do, and what was written down. All of it can be entered here, also
// where nestmon is out of reach: then it waits on this device.
import { can } from "../act.js";
import { ask, fetched, readEvery, recall, refresh } from "../book/data.js";
import { rows, updateNests } from "../book/nests.js";
import { makePending } from "../book/pending.js";
import { watch } from "../book/queue.js";
import { litterList, Past } from "../book/story.js";
import { updateTasks } from "../book/tasks.js";
import { deviceName, nameDevice } from "../device.js";
import { el, setText } from "../dom.js";
import { texts } from "../texts.js";
import * as units from "../units.js";
import { way } from "../ways.js";

const said = texts.book;
const filterFrom = 7; // nests: fewer are seen at a glance. Ours, no source
const groupNames = ["all", "kits", "due", "empty"];

export function make(box) {
  const parts = {
    pending: makePending(), asOf: el("p", { class: "wrong", role: "status" }), locked: el("p", { class: "locked" }), tabs: el("nav", { class: "tabs", "aria-label": said.tabs.label }),
    find: el("input", { type: "search", id: "book-find", autocomplete: "off", enterkeyhint: "search" }), groups: el("div", { class: "chips", role: "group", "aria-label": said.groups.label }),
    nests: el("ul", { class: "nestrows", id: "book-nests" }), tasks: el("div", { class: "tasks" }), none: el("p", { class: "quiet", role: "status" }),
    litters: el("div", { class: "litters-view" }), past: new Past(),
  };
  const filter = el("div", { class: "filter" }, el("label", { for: "book-find", text: said.find }), parts.find, parts.groups);
  const views = {
    nests: el("section", { id: "book-view-nests" }, el("h2", { text: said.tabs.nests }), parts.nests, parts.none),
    chores: el("section", { id: "chores" }, el("h2", { text: texts.headings.chores }), parts.tasks),
    litters: el("section", { id: "book-view-litters" }, el("h2", { text: said.tabs.litters }), parts.litters),
    past: el("section", { id: "book-view-past" }, parts.past.node),
  };
  box.append(parts.asOf, parts.locked, parts.pending.top, parts.tabs, parts.pending.line, filter, el("div", { class: "views" }, ...Object.values(views)), parts.pending.waiting);
  parts.tabs.append(...["nests", "chores", "litters"].map((name) => el("a", { href: name === "nests" ? way("book") : way("book", name), "data-tab": name }, el("span", { text: said.tabs[name] }), el("b", {}))));
  parts.groups.append(...groupNames.map((name) => el("button", { type: "button", "data-group": name, onclick: () => ((group = name), draw()) })));
  parts.find.addEventListener("input", () => draw());

  let view = "nests";
  let group = "all";
  let open = false;
  let site = null;
  let timer = 0;
  let older = []; // litters that were asked for

  async function read() {
    await refresh(site);
    if (open) draw();
    if (view === "past") parts.past.refresh();
  }

  function draw() {
    if (fetched.site && !site) units.useSite(fetched.site);
    const { book, agenda } = fetched;
    parts.pending.update();
    parts.locked.hidden = can.changes || !can.asked;
    setText(parts.locked, texts.locked);
    box.classList.toggle("is-locked", can.asked && !can.changes);
    setText(parts.asOf, fetched.fresh ? "" : book ? said.asOf(units.dateAndClock(fetched.at), fetched.failed) : fetched.failed || said.never);
    for (const [name, node] of Object.entries(views)) node.hidden = !book || (name !== view && !(beside() && ["nests", "chores"].includes(name) && ["nests", "chores"].includes(view)));
    parts.tabs.hidden = filter.hidden = !book;
    if (!book) return;
    const all = rows(book);
    filter.hidden = all.length < filterFrom || !["nests", "chores"].includes(view);
    const word = filter.hidden ? "" : parts.find.value.trim().toLowerCase();
    const found = all.filter((n) => word === "" || [n.nest, n.kit?.doe, n.due?.doe].some((x) => x?.toLowerCase().includes(word)));
    const shown = found.filter((n) => filter.hidden || group === "all" || n.group === group);
    for (const b of parts.groups.children) {
      const name = b.dataset.group;
      setText(b, said.groups[name](name === "all" ? found.length : found.filter((n) => n.group === name).length));
      b.setAttribute("aria-pressed", String(name === group));
    }
    updateNests(parts.nests, shown);
    setText(parts.none, shown.length === 0 ? (all.length === 0 ? said.noNests : said.noneFound) : "");
    const ids = new Set(shown.map((n) => n.nest));
    const tasks = agenda.tasks.filter((t) => (word === "" && group === "all") || filter.hidden || ids.has(t.nest));
    updateTasks(parts.tasks, tasks);
    if (tasks.length === 0) parts.tasks.replaceChildren(el("p", { class: "quiet", text: said.noTasks }));
    drawTabs(agenda.tasks.filter((t) => t.state === "overdue" || t.state === "today").length);
    if (view === "litters") drawLitters(book);
    if (view === "past") parts.past.draw();
  }

  function drawTabs(due) {
    for (const a of parts.tabs.children) {
      if (a.dataset.tab === view) a.setAttribute("aria-current", "page");
      else a.removeAttribute("aria-current");
      const count = a.dataset.tab === "chores" ? due : 0;
      const b = a.lastElementChild;
      b.hidden = count === 0;
      setText(b, count === 0 ? "" : String(count));
      b.setAttribute("aria-label", said.tabs.due(count));
    }
  }

  function drawLitters(book) {
    const open = book.litters.filter((l) => l.day !== null);
    const closed = [...book.litters.filter((l) => l.day === null), ...older];
    const left = book.older - older.length;
    const key = JSON.stringify([book.newest, open, closed.length, left, book.does]);
    if (parts.litters.dataset.drawn === key) return;
    parts.litters.dataset.drawn = key;
    const name = el("input", { id: "book-device", maxlength: "40", autocomplete: "off", value: deviceName(), onchange: (e) => nameDevice(e.target.value) });
    parts.litters.replaceChildren(
      el("section", {}, el("h3", { text: said.open(open.length) }), litterList(open)),
      el("section", {}, el("h3", { text: said.closed }), litterList(closed), ...(left > 0 ? [el("button", { type: "button", text: said.older(left), onclick: more })] : [])),
      ...(book.does.length > 0 ? [el("section", {}, el("h3", { text: said.does }), el("p", { class: "chips links" }, ...book.does.map((d) => el("a", { href: way("book", "doe", d), text: d }))))] : []),
      el("section", {}, el("h3", { text: said.pastOfNests }), el("p", { class: "chips links" }, ...book.nests.map((n) => el("a", { href: way("book", "nest", n.nest), text: n.nest })))),
      el("section", { class: "device" }, el("label", { for: "book-device", text: said.device }), name, el("p", { class: "quiet", text: said.deviceWhy })),
    );
  }

  async function more(e) {
    e.target.setAttribute("aria-disabled", "true");
    try {
      const closed = fetched.book.litters.filter((l) => l.day === null).length;
      older.push(...(await ask(`api/book?skip=${closed + older.length}`)).litters);
    } catch {
      setText(e.target, said.outOfReach);
      e.target.removeAttribute("aria-disabled");
      return;
    }
    draw();
  }

  const wide = matchMedia("(min-width: 62rem)");
  const beside = () => wide.matches;
  wide.addEventListener("change", () => open && draw());
  watch((stored) => {
    if (open) draw();
    if (stored && open) read();
  });

  return {
    async open(words) {
      open = true;
      const [first = "", second = ""] = words;
      view = ["litter", "nest", "doe"].includes(first) ? "past" : ["chores", "litters"].includes(first) ? first : "nests";
      clearInterval(timer);
      timer = setInterval(() => document.hidden || read(), readEvery);
      older = [];
      await recall();
      if (view === "past") parts.past.open(first, second);
      if (open) draw();
      read();
    },
    update(state) {
      site = state.site;
      if (!fetched.fresh) read();
      draw();
    },
    redraw: () => draw(),
    shut() {
      open = false;
      clearInterval(timer);
    },
  };
}
