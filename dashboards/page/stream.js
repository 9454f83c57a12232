// One stream of states per page. It tells how long ago anything was heard, and how old the newest state is: two different things,
// because a server can answer while nothing is measured.

const silent = 14e3; // ms without a beat (they come every 5 s) before the stream counts as broken
const pollEvery = 10e3; // ms between questions while it is broken
const reopenAfter = 5e3; // ms before a stream that the browser gave up is opened again
const slept = 5e3; // ms without a tick of one second: the page stood still meanwhile, and what lies in its buffers is of then

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
  #shown = null; // the newest state
  #streaming = false;
  #ticked = stopwatch();
  #waking = false; // nothing has come since the page stood still
  #turn = 0; // of waking: an answer to a question from before is not taken

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
    return this.#waking || this.#heard() > silent;
  }
  get age() {
    return this.#published && this.#published.at() + this.#published.before;
  }

  // tick is called every second while the page is seen, and whenever it comes into sight again.
  tick() {
    this.#wake();
    if (!document.hidden) this.#ticked = stopwatch();
    if (this.#closed && this.#closed() > reopenAfter) this.#open();
    const unheard = this.#heard() > silent || (!this.#streaming && this.#closed);
    if (unheard && this.#polled() > pollEvery) this.#poll();
  }

  // #wake begins anew after the page stood still, and reports whether it had.
  #wake() {
    if (document.hidden || this.#ticked() < slept) return false;
    this.#ticked = stopwatch();
    this.#waking = true;
    this.#turn++;
    this.#open();
    return true;
  }

  #open() {
    this.#source?.close();
    this.#closed = null;
    const source = new EventSource("api/stream");
    this.#source = source;
    const on = (name, take) => source.addEventListener(name, (e) => {
      if (this.#source !== source || this.#wake()) return;
      this.#streaming = true;
      take(JSON.parse(e.data));
    });
    on("state", (state) => this.#take(state));
    on("beat", (beat) => {
      if (beat.seq !== this.#shown?.seq || beat.started !== this.#shown?.started) {
        if (beat.seq !== undefined && this.#polled() > pollEvery) this.#poll(); // it is not the age of what is shown
        return;
      }
      this.#come();
      this.#published = { at: stopwatch(), before: beat.published_ago_s * 1e3 };
    });
    source.addEventListener("error", () => {
      this.#streaming = false;
      if (source.readyState !== EventSource.CLOSED) return;
      this.#closed = stopwatch();
      this.#poll(); // which learns why
    });
  }

  #come() {
    this.#heard = stopwatch();
    this.#waking = false;
  }

  // #take shows a state, unless a newer one of the same run is shown: an answer may have been long on its way.
  #take(state) {
    if (state.started === this.#shown?.started && state.seq < this.#shown.seq) return;
    this.#come();
    this.#shown = { started: state.started, seq: state.seq };
    this.#published = { at: stopwatch(), before: state.published_ago_s * 1e3 };
    this.#onState(state);
  }

  async #poll() {
    this.#polled = stopwatch();
    const turn = this.#turn;
    try {
      const answer = await fetch("api/state", { signal: AbortSignal.timeout(8e3) });
      const state = answer.ok && (await answer.json());
      if (this.#wake() || turn !== this.#turn) return;
      if (state) this.#take(state);
      else if (answer.status === 401) this.#onShut();
    } catch {
      // the banner says it already
    }
    if (!this.#streaming && this.#source.readyState !== EventSource.OPEN) this.#closed ??= stopwatch();
  }
}
