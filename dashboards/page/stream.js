// One stream of states per page. It tells how long ago anything was heard, and how old the newest state is: two different things,
// because a server can answer while nothing is measured.

const silent = 14e3; // ms without a beat (they come every 5 s) before the stream counts as broken
const pollEvery = 10e3; // ms between questions while it is broken
const reopenAfter = 5e3; // ms before a stream that the browser gave up is opened again

// stopwatch counts ms since start. It takes the larger of two clocks: one stops while a phone sleeps, the other can be set.
function stopwatch() {
  const wall = Date.now();
  const steady = performance.now();
  return () => Math.max(Date.now() - wall, performance.now() - steady, 0);
}

export class Stream {
  #onState;
  #onShut;
  #source = null;
  #heard = stopwatch();
  #polled = stopwatch();
  #closed = null; // stopwatch since the browser gave up
  #published = null; // {at: stopwatch, before: ms}
  #streaming = false;

  // onShut is called when the page is shown to who has logged in only, and this browser has not.
  constructor(onState, onShut) {
    this.#onState = onState;
    this.#onShut = onShut;
    this.#open();
  }

  // silence is ms since anything was heard; age is ms since the newest state was published, null before the first.
  get silence() {
    return this.#heard();
  }
  get broken() {
    return this.#heard() > silent;
  }
  get age() {
    return this.#published && this.#published.at() + this.#published.before;
  }

  // tick is called every second.
  tick() {
    if (this.#closed && this.#closed() > reopenAfter) this.#open();
    const unheard = this.#heard() > silent || (!this.#streaming && this.#closed);
    if (unheard && this.#polled() > pollEvery) this.#poll();
  }

  #open() {
    this.#source?.close();
    this.#closed = null;
    const source = new EventSource("api/stream");
    this.#source = source;
    source.addEventListener("state", (e) => {
      this.#streaming = true;
      this.#take(JSON.parse(e.data));
    });
    source.addEventListener("beat", (e) => {
      this.#streaming = true;
      this.#heard = stopwatch();
      const ago = JSON.parse(e.data).published_ago_s;
      if (ago !== undefined) this.#published = { at: stopwatch(), before: ago * 1e3 };
    });
    source.addEventListener("error", () => {
      this.#streaming = false;
      if (source.readyState !== EventSource.CLOSED) return;
      this.#closed = stopwatch();
      this.#poll(); // which learns why
    });
  }

  #take(state) {
    this.#heard = stopwatch();
    this.#published = { at: stopwatch(), before: state.published_ago_s * 1e3 };
    this.#onState(state);
  }

  async #poll() {
    this.#polled = stopwatch();
    try {
      const answer = await fetch("api/state", { signal: AbortSignal.timeout(8e3) });
      if (answer.ok) this.#take(await answer.json());
      else if (answer.status === 401) this.#onShut();
    } catch {
      // the banner says it already
    }
    if (!this.#streaming && this.#source.readyState !== EventSource.OPEN) this.#closed ??= stopwatch();
  }
}
