// Which stretch of time a graph shows, and how that stands in an address: 7d is the last seven days, 7d/2031-07-19T2142Z the seven before that.

const minute = 60e3;
const hour = 60 * minute;
const day = 24 * hour;

export const spans = { hour, day, week: 7 * day, month: 30 * day, year: 365 * day }; // and all
const shortest = 10 * minute; // that can be zoomed to; ours, no source

// View is from when to when is shown, in ms, within what there is. While it follows, its end is now.
export class View {
  from = 0;
  to = 0;
  follows = true;
  all = false;

  // bound says what there is.
  bound(first, now) {
    this.first = Math.min(first, now - shortest);
    this.now = now;
    if (this.all) this.#set(this.first, now, true);
    else if (this.follows) this.#set(now - this.length, now, true);
  }

  get length() {
    return this.to - this.from || day;
  }

  // show takes one of the spans, or all, and keeps the end that is seen.
  show(name) {
    this.all = name === "all";
    if (this.all) return this.#set(this.first, this.now, true);
    const to = this.follows ? this.now : Math.min(this.now, this.to);
    return this.#set(to - spans[name], to, this.follows);
  }

  // is reports whether a span is what is shown.
  is(name) {
    return name === "all" ? this.all : !this.all && Math.abs(this.length - spans[name]) < minute;
  }

  // move goes by a share of what is seen; zoom makes it that many times as long, about a place from 0 to 1.
  move(share) {
    this.all = false;
    const by = share * this.length;
    const to = Math.min(this.now, Math.max(this.to + by, this.first + this.length / 4));
    this.#set(to - this.length, to, to >= this.now);
  }

  zoom(times, at = this.follows ? 1 : 0.5) {
    const whole = this.now - this.first;
    const length = Math.min(Math.max(this.length * times, shortest), whole);
    const about = this.from + at * this.length;
    this.all = length >= whole;
    const to = Math.min(this.now, about + (1 - at) * length);
    this.#set(to - length, to, to >= this.now);
  }

  // around brings an instant to the middle.
  around(t) {
    this.all = false;
    const to = Math.min(this.now, t + this.length / 2);
    this.#set(to - this.length, to, to >= this.now);
  }

  toEnd() {
    this.#set(this.now - this.length, this.now, true);
  }

  toStart() {
    this.#set(this.first, this.first + this.length, false);
    this.all = false;
  }

  #set(from, to, follows) {
    [this.from, this.to, this.follows] = [from, to, follows];
  }

  // words are what of an address leads here again.
  words() {
    const length = this.all ? "all" : lengthWord(this.length);
    return this.follows ? [length] : [length, new Date(Math.round(this.to / minute) * minute).toISOString().replace(":", "").replace(":00.000Z", "Z")];
  }

  // read takes such words; what cannot be read is a day up to now.
  read([length = "", end = ""]) {
    const [, n, unit] = /^(\d{1,6})([mhd])$/.exec(length) ?? [];
    const asked = n ? n * { m: minute, h: hour, d: day }[unit] : day;
    const to = Date.parse(end.replace(/^(\d{4}-\d\d-\d\dT\d\d)(\d\dZ)$/, "$1:$2"));
    this.all = length === "all";
    this.follows = Number.isNaN(to);
    this.to = this.follows ? 0 : to;
    this.from = this.to - Math.min(Math.max(asked, shortest), 36525 * day);
  }
}

function lengthWord(ms) {
  if (ms < 2 * hour) return ms === hour ? "1h" : `${Math.round(ms / minute)}m`;
  return ms < 4 * day && ms % day !== 0 ? `${Math.round(ms / hour)}h` : `${Math.round(ms / day)}d`;
}
