// What this device keeps until nestmon has it: a small table of things by key, in IndexedDB, and in localStorage where a browser has none of
// it. A promise that is kept means that it is on the device, also when its battery dies. Where a browser keeps nothing at all, it is said.
// Several windows of one device have the same things: edit changes one in a single step, by what stands there (undefined for nothing) and not by
// what a window remembers; its deed returns what shall stand there then, and nothing to remove it.
// Apart from that it holds what was last read. forget removes this, and never what waits.
const name = "nestmon-book";
const inLocal = "nestmon.book";

const done = (request) => new Promise((good, bad) => {
  request.onsuccess = () => good(request.result);
  request.onerror = () => bad(request.error);
});

function openBase() {
  const request = indexedDB.open(name, 1);
  request.onupgradeneeded = () => {
    request.result.createObjectStore("sends", { keyPath: "key" });
    request.result.createObjectStore("shown");
  };
  return done(request);
}

class Base {
  #db;
  constructor(db) {
    this.#db = db;
  }
  #write(table, deed) {
    const t = this.#db.transaction(table, "readwrite", { durability: "strict" });
    deed(t.objectStore(table));
    return new Promise((good, bad) => {
      t.oncomplete = () => good();
      t.onabort = t.onerror = () => bad(t.error);
    });
  }
  all = () => done(this.#db.transaction("sends").objectStore("sends").getAll());
  put = (item) => this.#write("sends", (s) => s.put(item));
  async edit(key, deed) {
    let left;
    await this.#write("sends", (s) => {
      const get = s.get(key);
      get.onsuccess = () => {
        left = deed(get.result);
        if (left) s.put(left);
        else s.delete(key);
      };
    });
    return left;
  }
  remove = (key) => this.#write("sends", (s) => s.delete(key));
  show = (what, value) => this.#write("shown", (s) => s.put(value, what));
  shown = (what) => done(this.#db.transaction("shown").objectStore("shown").get(what));
  forget = () => this.#write("shown", (s) => s.clear());
}

class Local {
  #read = () => JSON.parse(localStorage.getItem(inLocal) ?? "{}");
  async #change(deed) {
    const all = this.#read();
    deed(all);
    localStorage.setItem(inLocal, JSON.stringify(all));
  }
  all = async () => Object.values(this.#read());
  put = (item) => this.#change((all) => (all[item.key] = item));
  async edit(key, deed) {
    let left;
    await this.#change((all) => {
      left = deed(all[key]);
      if (left) all[key] = left;
      else delete all[key];
    });
    return left;
  }
  remove = (key) => this.#change((all) => delete all[key]);
  show = async (what, value) => localStorage.setItem(`${inLocal}.${what}`, JSON.stringify(value));
  shown = async (what) => JSON.parse(localStorage.getItem(`${inLocal}.${what}`) ?? "null") ?? undefined;
  async forget() {
    for (const key of Object.keys(localStorage)) if (key.startsWith(`${inLocal}.`)) localStorage.removeItem(key);
  }
}

class Nothing {
  forgets = true;
  #all = new Map();
  #shown = new Map();
  all = async () => [...this.#all.values()];
  put = async (item) => void this.#all.set(item.key, item);
  async edit(key, deed) {
    const left = deed(this.#all.get(key));
    if (left) this.#all.set(key, left);
    else this.#all.delete(key);
    return left;
  }
  remove = async (key) => void this.#all.delete(key);
  show = async (what, value) => void this.#shown.set(what, value);
  shown = async (what) => this.#shown.get(what);
  forget = async () => this.#shown.clear();
}

let opened = null;

// openStore returns the store of this device, the same one each time.
export function openStore() {
  opened ??= (async () => {
    try {
      return new Base(await openBase());
    } catch {
      // a browser that forbids it, as some do in private windows
    }
    try {
      localStorage.setItem(`${inLocal}.try`, "1");
      localStorage.removeItem(`${inLocal}.try`);
      return new Local();
    } catch {
      return new Nothing();
    }
  })();
  return opened;
}
