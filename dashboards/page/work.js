// The stream of what is under way at the daemon's bench. It is open only while the room is and something is under way: the board reads its probes
// more often for as long as somebody looks.
import { act, can } from "./act.js";
import { texts } from "./texts.js";

const again = 5e3; // ms until a stream that was refused is asked for once more; ours, no source

export class Work {
  #onWork;
  #source = null;
  #open = false;
  #waits = 0;
  now = null; // the newest word
  lost = false; // nothing is heard just now

  constructor(onWork) {
    this.#onWork = onWork;
  }

  // look asks what probes there are, and follows what is under way.
  async look() {
    this.#open = true;
    try {
      const answer = await fetch("api/probes", { signal: AbortSignal.timeout(10e3) });
      if (!answer.ok) return null;
      const known = await answer.json();
      if (known.doing && can.logged_in) this.follow();
      else if (this.lost) this.#end();
      return known;
    } catch {
      return null; // asked again at the next coming
    }
  }

  // begin starts a piece of work and follows it.
  async begin(key, body, what) {
    const said = await act(`work ${key}`, key, `api/probes/${key}`, body, what, { saving: texts.doing.asking(what), saved: texts.doing.began(what) });
    if (said !== null) this.follow();
    return said !== null;
  }

  end = (what) => act("work end", "end", "api/probes/end", {}, what, { saving: texts.doing.asking(what), saved: texts.doing.ended(what) });

  follow() {
    if (!this.#open || this.#source) return;
    const source = new EventSource("api/probes/work");
    this.#source = source;
    source.addEventListener("work", (e) => {
      this.now = JSON.parse(e.data);
      this.lost = false;
      if (this.now.over) this.#drop();
      this.#onWork(this.now);
    });
    source.addEventListener("error", () => {
      this.lost = true;
      if (source.readyState === EventSource.CLOSED) { // refused: nothing is under way, nobody is logged in, or there are enough
        this.#drop();
        clearTimeout(this.#waits);
        this.#waits = setTimeout(() => this.#open && this.look(), again);
      }
      this.#onWork(this.now);
    });
  }

  get following() {
    return this.#source !== null;
  }

  leave() {
    this.#open = false;
    clearTimeout(this.#waits);
    this.#drop();
    this.lost = false;
  }

  #end() {
    this.lost = false;
    this.#onWork({ over: true, warm: null, ice: null });
  }

  #drop() {
    this.#source?.close();
    this.#source = null;
  }
}
