// Every text of the page. Another language is another file like this one; sentences about an alarm come from the daemon.

// What the daemon writes itself, because it stands where this file cannot be read yet: in the page as it is sent, behind a message's link and in
// the worker. It reads this as JSON: names in double quotes, no comma after the last of a group, and {…} where a value comes.
export const served = {
  "language": "en",
  "page": {
    "late": "This page shows nothing live on this device. What stood here is too old now: load it again.",
    "asOf": "As it was at {when}, not live.",
    "asOfSome": "As it was when this page was sent, not live.",
    "cluster": "Cluster", "air": "Nest air", "noData": "no data",
    "still": "Without JavaScript this page shows temperatures and alarms only, anew every 30 s. All it knows:",
    "nothing": {
      "closed": "Nothing can be shown here: log in with a browser that runs scripts.", "old": "The readings are too old: look into the nests.", "none": "Nothing has been measured yet: look into the nests."
    },
    "severity": { "urgent": "Urgent", "warning": "Warning", "notice": "Notice" },
    "pastLimit": { "above": "Over the limit", "below": "Under the limit" },
    "notJudged": "Not judged: {danger}",
    "danger": { "heat": "heat", "chill": "chill", "cold": "cold", "damp": "wet bedding" }
  },
  "answer": {
    "titles": { "ask": "nestmon: answer an alarm", "done": "nestmon: answered", "other": "nestmon: not answered" },
    "take": "I am on it", "taken": "Then nobody else is called for it, and it is not repeated. It is still on the page until it is over.",
    "look": "Look at the page first", "page": "To the page",
    "headings": {
      "done": "Answered: you are on it.", "used": "This link was used already.", "over": "This link is too old.", "ended": "It is over.", "seen": "Somebody has acknowledged it already.",
      "worse": "It has got worse since this message.", "unknown": "This link is not known here.", "wait": "Too many wrong links.", "failed": "It could not be acknowledged."
    },
    "unanswered": "What has got worse was not acknowledged.",
    "says": {
      "done": "Nobody else is called for this, and it is not repeated unless it gets worse:",
      "used": "Somebody has pressed “I am on it”. Nothing was changed now. What stands, and who has seen it, is on the page.",
      "over": "Nothing was changed. What stands now is on the page.",
      "ended": "Nothing was changed, and nobody is called for it any more. What stands now is on the page.",
      "seen": "Nothing was changed. Nobody is called for it unless it gets worse. Who has seen it is on the page.",
      "worse": "Look at the newest message or at the page, and answer that.",
      "unknown": "Nothing was changed. Open it from the message itself, whole; or look at the page.",
      "wait": "Nothing was changed. Try again in {wait} s, or acknowledge it on the page.",
      "failed": "You may be called again. Try once more, or acknowledge it on the page."
    }
  },
  "worker": {
    "unread": { "title": "nestmon has something to say", "body": "The message cannot be read. Open the page and look at the nests." },
    "lost": { "title": "No alarm reaches this phone any more", "body": "Open the page of nestmon and sign this phone up again, under “Alarms on this phone”." }
  }
};

export const texts = {
  locale: undefined, // the browser's own way to write dates and numbers
  title: "nestmon",
  units: { label: "Show temperatures in", fahrenheit: "°F", celsius: "°C" },
  asOf: (when) => `Now: ${when}`,

  rooms: {
    label: "Rooms", skip: "Skip to the room", now: "Now", book: "Book", alarms: "Alarms", probes: "Probes", settings: "Settings", nest: "Nest", compare: "Compare",
    missing: "This part of the page could not be fetched: nestmon is out of reach, or was just replaced.", again: "Try again",
    alarmCount: (n) => (n === 1 ? "1 alarm" : `${n} alarms`), choreCount: (n) => (n === 1 ? "1 thing to do" : `${n} things to do`),
  },

  pastLimit: served.page.pastLimit,
  severity: { ...served.page.severity, none: "No alarm" },
  verdict: {
    waiting: "Waiting for the first word from nestmon.",
    unknown: "Not known. What is shown below is old.",
    urgent: (n) => (n === 1 ? "Go now: 1 urgent alarm." : `Go now: ${n} urgent alarms.`),
    warning: (n) => (n === 1 ? "Look soon: 1 warning." : `Look soon: ${n} warnings.`),
    notice: (n) => (n === 1 ? "1 notice, no alarm." : `${n} notices, no alarm.`),
    stands: { urgent: (n) => (n === 1 ? "1 urgent alarm still stands" : `${n} urgent alarms still stand`), warning: (n) => (n === 1 ? "1 warning still stands" : `${n} warnings still stand`) },
    seen: (what, when, who) => `${what}, seen${when ? ` at ${when}` : ""}${who ? ` ${who}` : ""}.`,
    uncalled: (what) => `Nobody is called now, but ${what}.`,
    none: "No alarm.",
    past: (n) => (n === 1 ? "1 nest is past a limit, no alarm yet." : `${n} nests are past a limit, no alarm yet.`),
    pastUrgent: (n) => (n === 1 ? "Go now: 1 nest is past its urgent limit, no urgent alarm yet." : `Go now: ${n} nests are past their urgent limits, no urgent alarm yet.`),
    watched: (n) => (n === 1 ? "1 nest, fully watched." : `${n} nests, all fully watched.`),
    damp: (n, damp) => `${n === 1 ? "1 nest" : `${n} nests`} watched for heat, chill and cold; for wet bedding ${damp} of ${n === 1 ? "it" : "them"}.`,
    unwatched: (names) => `Not watched: ${names}.`, unwatchedFor: (nest, dangers) => `${nest} (${dangers})`, others: (n) => `${n} more`,
    clock: "The clock is not set.", nobody: "Nobody is called.",
    empty: "No nest is configured. Nothing is watched.",
    blind: (n) => (n === 1 ? "1 nest is not fully watched." : `${n} nests are not fully watched.`),
    quiet: (n) => (n === 1 ? "1 alarm is shelved or out of service." : `${n} alarms are shelved or out of service.`),
  },

  banner: {
    undrawn: "This page cannot show what nestmon just sent. Do not trust what is below; load it again, or look into the nests.",
    broken: (ago) => `No word from nestmon for ${ago}. Everything below is old. Trying again…`,
    old: (ago) => `nestmon answers, but its newest measurement came ${ago} ago. Everything below is old.`,
  },

  headings: { alarms: "Alarms", site: "The whole site", quiet: "Over, shelved or out of service", chores: "To do", past: "Phone and history", blind: "What nestmon cannot see", outside: (season) => `Outside, ${season}`, battery: "Battery", nests: "Nests" },
  more: (n) => `${n} more`,

  event: {
    "nest-heat": "Nest too hot", "cluster-heat": "Kits too hot", "heat-expected": "Heat is coming", "cluster-chill": "Kits too cold",
    "nest-cold": "Nest air cold", "doe-heat": "Doe too hot", "doe-cold": "Doe in hard cold", "tote-wet": "Tote is wet", "check-nest": "Look into the nest",
    "probe-silent": "Probe silent", "probe-fault": "Probe gives impossible values", "bus-fault": "Probes cut off", "sink-fault": "Values do not get out",
    "power-fault": "Power trouble", "daemon-fault": "Trouble in nestmon itself", kindled: "Kits seem to be born", visit: "Doe visited",
    inspection: "Nest was opened", "visit-overdue": "No visit by the doe", "bedding-due": "Change bedding", "ventilation-due": "Air the nest",
    "season-setup-due": "Change for the season", "box-due": "Put the box in", "inspect-due": "Inspect the nest", "turn-box-due": "Turn the box",
    "remove-box-due": "Take the box out", "collect-due": "Collect the kits", "wean-due": "Wean the kits", "kindling-overdue": "Kindling is overdue",
    "check-pregnancy-due": "Check whether she is pregnant", "confirm-kindling-due": "Confirm the kindling", "ration-due": "Raise the doe's ration",
    "hide-box-due": "Give a hide box", "return-box-due": "Nest back to the doe", "water-due": "Unfrozen water", "fly-strike-due": "Look for fly strike",
    "reseal-tote-due": "Seal the tote anew",
  },
  since: (when, ago) => `since ${when}, ${ago}`,
  stood: (severity, from, to) => `${severity} from ${from} to ${to}`,
  everything: "everything",
  // Where an alarm stands. who is one of ways, by(…) or empty.
  status: {
    unacknowledged: "Nobody has seen it.",
    acknowledged: (when, who) => `Seen${when ? ` at ${when}` : ""}${who ? ` ${who}` : ""}. Nobody is called again unless it gets worse.`,
    returned: (when) => `Over${when ? ` since ${when}` : ""}, and nobody has seen it.`,
    latched: (when) => `Over${when ? ` since ${when}` : ""}. Look once more, then say that you have seen it.`,
    shelved: (when, who) => `Shelved${when ? ` until ${when}` : ""}${who ? `, ${who}` : ""}. Nobody is called meanwhile unless it gets worse.`,
    suppressed: (because) => `Nobody is called for it by itself${because ? `: “${because}” stands for it` : ""}.`,
    out: (who) => `Out of service${who ? `, ${who}` : ""}. Nobody is called until you put it back.`,
    first: "It came first here.",
  },
  ways: { page: "on the page", command: "by a command", broker: "over the broker" },
  by: (who) => `by ${who}`,
  short: {
    normal: "over", unacknowledged: "not seen", acknowledged: "seen", "returned-unacknowledged": "over, not seen", shelved: "shelved", "suppressed-by-design": "another alarm stands for it", "out-of-service": "out of service",
  },
  quiet: { "returned-unacknowledged": "Over, not seen", shelved: "Shelved", "suppressed-by-design": "Another stands for it", "out-of-service": "Out of service" },

  actions: {
    acknowledge: "I have seen it", done: "Done", unshelve: "End the shelf", "in-service": "Put back in service", "out-of-service": "Out of service until I put it back",
    shelve: (span) => `Shelve for ${span}`, more: "More",
  },
  doing: {
    button: "Saving…", sending: "Sending…", close: "Close",
    what: (name, action) => `${name} – ${action}`,
    saving: (what) => `Saving: ${what}`,
    saved: (what) => `Saved: ${what}`,
    asking: (what) => `Asking nestmon: ${what}`, began: (what) => `Begun: ${what}`, ended: (what) => `Ended: ${what}`,
    failed: (what) => `Not saved: ${what}.`, refused: (failed, why) => `${failed} ${why}`, nobody: "Nobody logged in.",
    unknown: (what) => `No answer: ${what}. It may be saved or not, and is not sent again by itself; look at the alarm again.`,
  },
  login: {
    heading: "Log in", why: "To change something, write the password of this page. This browser remembers it for 30 days.", look: "To look, write the password of this page. This browser remembers it for 30 days.", closed: "Nothing is shown here before you log in.", user: "User", password: "Password", in: "Log in", cancel: "Cancel", out: "Log out", gone: "Logged out.",
    trying: "Looking…", refused: (why) => `Not logged in: ${why}.`, failed: "nestmon gives no answer. Try again.",
  },
  locked: "Nothing can be changed from this page while it has no password. Whoever keeps nestmon can give it one on the board.",
  test: {
    button: "Test my phone", trying: "Sending a test over every channel…", refused: "Not sent:", said: "The test is over; what came of it stands below its button.", none: "There is no way to a phone: nobody is called. Whoever keeps nestmon can set one up on the board.",
    arrived: (channel) => `${channel}: sent. Look whether it arrived.`, failed: (channel, why) => `${channel}: not sent. ${why}`,
  },
  past: { failed: (why) => `It cannot be shown: ${why}` },

  why: { open: "Why", rule: (rule) => `Rule: ${rule}.`, source: (source) => `Source: ${source}.` },
  against: (value, limit) => `${value}, limit ${limit}`,

  kind: { "wooden-box": "wooden box", "metal-box": "metal box", "buried-tote": "buried tote" },
  season: { winter: "winter", mild: "mild season", summer: "summer" },
  stage: { empty: "no litter entered", bred: "bred, box not due", waiting: "waiting for kits", nursing: "kits in the nest", out: "old enough to leave the nest" },
  day: (n) => `day ${n}`,
  born: (n) => (n === 1 ? "1 kit born" : `${n} kits born`),
  alive: (n, born) => `${n} of ${born} kits`,

  role: { cluster: served.page.cluster, "cluster-2": "Cluster, second probe", air: served.page.air, co2: "CO₂", cage: "Doe’s cage", outside: "Outside", battery: "Battery" },
  quantity: { temperature: "temperature", humidity: "humidity", co2: "CO₂", voltage: "voltage", current: "current" },
  noProbe: "no probe",
  noData: served.page.noData,
  never: "never any",
  last: (ago) => `last ${ago}`,
  ago: (span) => `${span} ago`,
  justNow: "just now", at: (when) => `at ${when}`,
  second: (n) => `${n}\u00a0s`, minute: (n) => `${n}\u00a0min`, hour: (n) => `${n}\u00a0h`, days: (n) => (n === 1 ? "1\u00a0day" : `${n}\u00a0days`),
  underMinute: "under 1\u00a0min",
  unit: { "g/m3": "g/m³" },
  core: (t) => `Core of the cluster, estimated ${t}`,
  thi: "heat index", thiNote: "of that air, for rabbits",
  limit: { cold: (t) => `cold < ${t}`, hot: (t) => `hot > ${t}`, noCold: "no cold limit", noHot: "no hot limit" },
  mark: { above: "over the limit", below: "under the limit", inside: "between the limits", underHot: "under the hot limit", overCold: "over the cold limit", unjudged: "no limits in force" },

  judged: (list) => `Watched: ${list}.`,
  judgedPartly: (dangers, why) => `Watched: ${dangers} (${why})`,
  unknownSince: (when) => `Not known since ${when}.`,
  outOfReach: (when) => `nestmon itself is out of reach, or measures nothing: all of this is as it was at ${when}.`,
  whyOut: "nestmon is out of reach; try again when it is back.",
  partly: "Partly watched", unwatched: "Not watched",
  unknown: "Not known",
  notJudged: (dangers, why) => `Not judged: ${dangers}${why ? ` (${why})` : ""}`,
  danger: served.page.danger,

  blindProbe: (probe, ago, fault) => `Probe ${probe}: ${ago}${fault ? `, ${fault}` : ""}`,
  silentFor: (span) => `nothing for ${span}`,
  silentEver: "nothing yet",
  fault: {
    "no-answer": "does not answer", "bad-checksum": "garbled on the line", "stuck-low": "line held down, look for water or a chewed cable",
    "not-converted": "measured nothing", "out-of-range": "out of range", broken: "broken", malformed: "sends nonsense", "wrong-probe": "another probe than configured",
    "timed-out": "too slow", "bus-down": "its line is down", settling: "just came back", impossible: "values that cannot be true",
  },
  doubtful: (probe, why) => `Probe ${probe}: ${why}`,
  doubt: {
    silent: "silent", fault: "gives impossible values", odd: "jumps, or stands still while its nest moves", swapped: "may hang where another should",
    scale: "may read wrong, hold it beside another or in ice water", drifting: "reads apart from its pair in the empty nest, compare both with ice", wet: "water on its humidity sensor, let it dry", failing: "its cable or plug is going",
  },
  misses: (percent) => `, misses ${percent} % of its readings`,
  busDown: (bus) => `Probe line ${bus}: down`,
  radioDown: "Wireless probes: nothing is heard of them",
  busHung: (bus, span) => `Probe line ${bus}: hangs since ${span}`,
  sink: {
    untrusted: (sink) => `${sink}: its certificate is not trusted`, unreachable: (sink) => `${sink} cannot be reached`, slow: (sink) => `${sink} does not answer in time`,
    refused: (sink) => `${sink} refuses the name, password or key`, other: (sink) => `${sink} does not get through`,
    wrong: (sink) => `${sink} is set up wrongly`,
  },
  sinkWaiting: (n) => ` (${n} waiting)`,
  clock: "The clock of the board is not set. Times and litter days may be wrong.",
  notWatched: (n, names) => (n === 1 ? `Nest ${names} is not fully watched; its card says why.` : `${n} nests are not fully watched; their cards say why: ${names}.`),
  nobodyCalled: "Nobody is called: no way to a phone is set up. Alarms are on this page only.",
  seesAll: "Every probe answers. It never sees a single kit that strayed from the others.",
  notConfigured: "No outside probe: a coming freeze, and heat for does without a probe in their cage, are not judged.",

  // Room: now
  next: {
    label: (event, when) => `Next: ${event}, ${when}`, none: "Nothing to do is planned.", overdue: (when) => `overdue since ${when}`, since: (when) => `since ${when}`, today: (when) => `today, ${when}`,
  },
  moreAlarms: (n) => (n === 1 ? "1 more alarm" : `${n} more alarms`),

  // Room: nest
  nest: {
    open: (nest) => `Look at ${nest}`, none: (nest) => `There is no nest ${nest}.`, measured: "Measured now", judged: "What is watched", learned: "What it has shown of itself", others: "Nests", compare: "Compare it with another nest",
  },
  graph: {
    of: (nest) => `Temperatures of ${nest}`,
    spans: { hour: "Hour", day: "Day", week: "Week", month: "Month", year: "Year", all: "All" }, howMuch: "How much time is shown", moving: "Move the graph", earlier: "Earlier", later: "Later", wider: "Show more time", closer: "Show less time", now: "Now",
    fromTo: (from, to) => `${from} – ${to}`, lookAt: "Read the lines at this moment",
    keys: "Drag or pinch the graph, or use the arrow keys, + and −; with Shift the arrows read it value by value.",
    others: (n) => `+${n}`, crowd: "+1 beside a mark: one more stands there. Touch it again for the next.",
    table: "As a table", chart: "As a graph", loading: "Reading the archive…", failed: (why) => `The graph cannot be shown: ${why}`, empty: "Nothing was measured in this time.", time: "Time",
    until: (when) => `Drawn until ${when}.`, none: "–",
    over: (when, span) => `${when}, over ${span}`, ranged: (mean, low, high) => `${mean} (${low} – ${high})`,
    cold: (role) => `${role}, cold limit`, hot: (role) => `${role}, hot limit`, urgent: (role) => `${role}, urgent limit`,
    days: (from, to) => (from === to ? `day ${from}` : `days ${from} to ${to}`),
    limitsNote: (days) => `Limits by the kits’ age${days ? `, here of ${days}` : ""}, as nestmon is set up now. Breaks in a line are times without data.`,
    proposed: "Their birth was read from the probes and is not confirmed.", limitsLeft: "The limits changed too often to be drawn over so long a time: show less.", shade: "The line is the mean, the shade reaches from lowest to highest.",
    each: { hour: "hour", day: "day", week: "week" }, tableNote: (each) => `Mean of each ${each}, below it the lowest and the highest.`,
    ageTick: (day) => `day ${day}`, age: (day) => `Day ${day}`, ages: (from, to) => `Day ${from} to day ${to} after birth`,
    happened: "What happened", nothing: "Nothing happened in this time.", showAll: (n) => `Show all ${n}`, since: (when) => `since ${when}`, lasted: (when, span) => `${when}, for ${span}`, dueThen: (name) => `To do: ${name}`,
    probe: (id) => `probe ${id}`, by: (who) => `entered by ${who}`,
    left: (list) => `Not shown: ${list}. Show less time to see them.`, unread: (n) => (n === 1 ? "1 older event" : `${n} older events`),
    kinds: {
      urgent: (n) => `${n} urgent`, warning: (n) => (n === 1 ? "1 warning" : `${n} warnings`), notice: (n) => (n === 1 ? "1 notice" : `${n} notices`), birth: (n) => (n === 1 ? "1 birth" : `${n} births`),
      loss: (n) => (n === 1 ? "1 loss" : `${n} losses`), litter: (n) => `${n} of litters`, season: (n) => (n === 1 ? "1 change of season" : `${n} changes of season`), opened: (n) => `${n} × the nest was opened`,
      done: (n) => (n === 1 ? "1 chore done" : `${n} chores done`), note: (n) => (n === 1 ? "1 note" : `${n} notes`), chore: (n) => (n === 1 ? "1 chore" : `${n} chores`), visit: (n) => (n === 1 ? "1 visit" : `${n} visits`),
    },
  },
  compare: {
    heading: "Compare", what: "What", nests: "Two nests, at the same time", litters: "Two litters, by age", first: "Solid lines", second: "Dashed lines", label: (a, b) => `${a} and ${b}`,
    litter: (id, doe) => `Litter ${id}${doe ? ` (${doe})` : ""}`, option: (who, born) => `${who}, born ${born}`, few: "There are not two to compare.", same: "Choose two that differ.", failed: (why) => `The litters cannot be listed: ${why}`,
  },

  // Room: book
  book: {
    howManyLost: "How many? The number saves it.",
    undo: "Undo", undoOf: (what) => `Undo: ${what}`, save: "Save", other: "Other…", unsaid: "Not said", optional: (name) => `${name} (may be left out)`, rarely: "More to say",
    less: "Less", more: "More", moreThan: (n) => `${n}+`, missing: (name) => `${name}: choose one, or write it.`, nothingChanged: "Nothing was changed.", saidNothing: "entered",
    noForms: "nestmon has not told yet what can be entered; open the book once where it can be reached.",
    never: "nestmon has not been reached yet.", asOf: (when, why) => `As nestmon said ${when}${why ? `: ${why}` : ""}. It cannot be reached now; what you enter waits here.`,
    loading: "Reading the book…", outOfReach: "nestmon cannot be reached now", notRead: (why) => `Not read: ${why}.`,
    tabs: { label: "Parts of the book", nests: "Nests", chores: "To do", litters: "Litters", due: (n) => (n === 1 ? "1 due" : `${n} due`) },
    find: "Find a nest or a doe",
    groups: { label: "Which nests", all: (n) => `All ${n}`, kits: (n) => `Kits ${n}`, due: (n) => `Bred ${n}`, empty: (n) => `Empty ${n}` },
    noNests: "No nest is configured.", noneFound: "No such nest.", noTasks: "Nothing is to do.", site: "The whole site",
    litter: (n) => `Litter ${n}`, litterIn: (n, nest) => `Litter ${n}, ${nest}`, day: (n) => `day ${n}`, bredDay: (n) => `bred ${n} days ago`, uncounted: "not counted",
    kits: (alive, born) => (born !== null && born !== alive ? `${alive} of ${born} kits` : alive === 1 ? "1 kit" : `${alive} kits`), kitCount: (n) => (n === 1 ? "1 kit" : `${n} kits`),
    empty: "no litter", looked: (when) => `Looked in at ${when}`, neverLooked: "Nobody has looked in yet", alsoBred: (who) => `bred again: ${who}`, indoors: "indoors", noticed: (when) => `Kits seem to be born since ${when}; enter it`,
    allWell: "Looked: all well", allWellDone: "looked, all well", lossesButton: "Losses…", losses: "looked, losses",
    onWay: (state, what, when) => `${state}: ${what}, ${when}`,
    what: {
      bred: "Bred", palpated: "Felt for kits", "box-in": "Box put in", kindled: "Kindled", "fostered-in": "Fostered in", lost: "Lost", "fostered-out": "Fostered out", weighed: "Weighed", moved: "Moved",
      collected: "Collected", weaned: "Weaned", sold: "Sold", kept: "Kept", ended: "Ended", "did-not-kindle": "Did not kindle", "carried-in": "Carried indoors", "carried-out": "Carried out again", did: "Did a chore",
      noted: "Note", struck: "Struck",
    },
    step: {
      palpated: "Felt for kits…", "box-in": "Box in…", kindled: "Kindled…", "fostered-out": "Foster…", weighed: "Weigh…", moved: "Move…", lost: "Losses…", collected: "Collect…", weaned: "Wean…", sold: "Sold…", kept: "Kept…",
      ended: "Kits are gone…", "did-not-kindle": "Did not kindle…", noted: "Note…", bred: "Bred…", "carried-in": "Carried indoors…", "carried-out": "Carried out…", did: "A chore…",
    },
    field: {
      entry: "Number", litter: "Litter", what: "What", on: "When", nest: "Nest", to: "To", with: "With litter", doe: "Doe", buck: "Buck", kits: "Kits", dead: "Born dead", cause: "Why", found: "What was felt", grams: "Weight of all together",
      bedding: "Bedding", depth: "How deep", kind: "Kind of nest", season: "Season", chore: "Chore", note: "Note", by: "By", entered: "Entered", replaces: "In place of",
    },
    fieldOf: { "kindled kits": "Born alive", "lost kits": "How many", "fostered-out kits": "How many", "fostered-out with": "To", "weighed kits": "Kits on the scale", "collected kits": "Kits counted", "weaned kits": "Kits counted", "collected to": "To which pen or cage" },
    choice: {
      chilled: "Chilled", overheated: "Overheated", "dragged-out": "Dragged out", crushed: "Crushed", unfed: "Unfed", other: "Other", "not-known": "Not known", pregnant: "Kits", "not-pregnant": "No kits", unsure: "Not sure",
    },
    unit: { g: "grams", kg: "kilograms", oz: "ounces", lb: "pounds", cm: "centimetres", in: "inches" },
    when: {
      heading: "When", now: "Now", morning: (h) => `This morning, ${h}:00`, yesterday: (day) => `Yesterday, ${day}`, other: "Another time", date: "Day", clock: "Time of day", dayAlone: "Without a time of day, the day alone is written.",
      asItIs: (when) => `As it is: ${when}`, noticed: (when) => `When it was noticed: ${when}`,
    },
    tasks: {
      what: "What to do, and why", overdue: "Overdue", today: "Today", done: "Done lately", count: (name, n) => `${name}: ${n}`, since: (when) => `since ${when}`, from: (when) => `from ${when}`, lateSince: (when) => `late since ${when}`, lateFrom: (when) => `late from ${when}`,
      daily: "every day", doneAt: (when) => `done ${when}`, doneButton: "Done", onlyDone: "Only mark it done", early: "Done already", undo: "It was not done",
      onWay: { waiting: "done here, waiting to be sent", refused: "done here, but refused: see above" },
    },
    queue: {
      heading: "Needs you", waits: "Waiting on this device", lineNone: "Nothing waits to be sent.", waiting: "Waiting to be sent", refused: "Refused", unusual: "Saved, but unusual", held: "Waits for the refused one above", undone: "Will be taken back when it is sent",
      note: "Entries and chores wait here and are sent in this order, each once. That you have seen an alarm is never kept for later: it would silence what nobody has seen by then.",
      forgets: "This browser keeps nothing. Leave this page open until all of it is sent.", logIn: "Log in and send", nobody: "Nobody is logged in.", pressed: (when) => `pressed ${when}`,
      mend: "Mend it", again: "Try again", away: "Throw it away", correctIt: "Correct it", takeBack: "Take it back", right: "It is right",
      kept: (what) => `Kept on this device, waiting to be sent: ${what}`, taken: (what) => `Taken back, and never sent: ${what}`, takenLater: (what) => `It may have arrived, and will be struck: ${what}`, struck: (what) => `Taken back: ${what}`,
      tooOld: "It waited here for more than 300 days. Look at the book; enter it anew with its day if it is missing, and throw this away.",
      barWaiting: (n) => (n === 1 ? "1 entry waits to be sent." : `${n} entries wait to be sent.`), barRefused: (n) => (n === 1 ? "1 entry was refused: look at it." : `${n} entries were refused: look at them.`), barLogIn: "Log in to send.",
    },
    facts: { alive: "Alive", born: "Born alive", dead: "Born dead", lost: (why) => `Lost: ${why.toLowerCase()}` },
    nextSteps: "Enter", partners: "Kits can be fostered to", fosterThere: "Foster there…", story: "What was written",
    pastOfNest: (nest) => `Past of ${nest}`, pastOfDoe: (doe) => `Litters of ${doe}`, report: "Report, with what was measured", graph: (nest) => `Graph of ${nest}`,
    number: (n) => `entry ${n}`, entry: (n, said) => `entry ${n}, ${said}`, by: (who) => `by ${who}`, inPlaceOf: (n) => `in place of entry ${n}`, counts: (n) => `does not count since entry ${n}`,
    change: "Change", correctButton: "Correct…", strikeButton: "Strike…", correct: (said) => `correct “${said}”`, strike: (said) => `strike “${said}”`, strikeIt: "Strike it", strikeWhy: "Why",
    sums: {
      litters: (n) => (n === 1 ? "1 litter" : `${n} litters`), kindled: (n) => `${n} kindled`, born: (n, of) => `${n} born alive in the ${of} that were counted`, dead: (n) => `${n} born dead`,
      weaned: (n, of) => `${n} alive at weaning in ${of}`, lost: (n, why) => `${n} lost: ${why.toLowerCase()}`,
    },
    enterHere: "Enter", litters: "Litters", written: "What was written", newestOnly: (n) => `The newest ${n}.`, bornOn: (day) => `born ${day}`, bredOn: (day) => `bred ${day}`, endedOn: (day) => `over ${day}`,
    open: (n) => `Open: ${n}`, closed: "Over", older: (n) => `Show older ones: ${n}`, does: "Does", pastOfNests: "Nests",
    device: "Name of this device", deviceWhy: "It stands beside what is entered here.",
  },

  // Room: alarms
  several: {
    button: (n) => `I have seen all ${n} that are not urgent`, saving: (i, n) => `Saving ${i} of ${n}…`, saved: (i, n) => `Saved: ${i} of ${n}.`,
    note: "What is urgent is acknowledged one by one.",
  },
  whole: {
    open: "Silence a whole nest", why: "While you work in a nest, nobody is called about it, nor about what begins meanwhile. It is watched all the same.",
    nest: "Nest", site: "the site’s own alarms", name: (nest) => nest || "the site",
    ask: (nest) => `Nobody is called about ${nest}, whatever happens, until you put it back. It has no end of its own. Is that so?`, yes: "Yes, out of service", no: "No",
  },
  calls: {
    heading: "Who is called", nobody: "Nobody is called: there is no way to a phone. Whoever keeps nestmon can set one up on the board.",
    first: "at once", later: (span) => `after ${span} without an answer`,
    by: (channel, severity) => `${channel}, from ${severity.toLowerCase()} on`, failing: (channel) => `${channel} does not get through just now`,
    repeat: (span) => `What is urgent is repeated every ${span} until somebody has seen it.`,
    quiet: (from, to, holds) => (holds === "notice"
      ? `From ${from} to ${to} notices wake nobody; they wait until ${to}.`
      : `From ${from} to ${to} only urgent alarms, and warnings of heat, cold or a probe, wake anybody. The rest waits until ${to}.`),
    allWell: (at) => `Every day at ${at} a message says how things stand; when it stays away, look.`, failed: (why) => `Who is called cannot be shown: ${why}`,
  },
  journal: {
    open: "What happened", nest: "Nest", all: "all", site: "the site", kind: "What", span: "Since",
    kinds: { "": "everything", alarm: "alarms", chore: "chores", noted: "what was noticed", act: "what people did" },
    spans: { 1: "yesterday", 7: "a week ago", 30: "a month ago", 365: "a year ago", 3650: "the beginning" },
    earlier: "Earlier", again: "Read it again", none: "Nothing of that kind.", end: "That is all of it.", full: "More cannot be shown at once; choose a nest or a kind.",
    raised: (severity) => `${severity}, began or grew worse`, cleared: (span) => `over${span ? ` after ${span}` : ""}`, noted: "noticed",
    limits: "Limits",
    did: { acknowledge: "seen", shelve: "shelved", unshelve: "taken off the shelf", "out-of-service": "taken out of service", "in-service": "put back in service", "set-limits": "limits changed" },
    act: (did, span, who) => `${did}${span ? ` for ${span}` : ""}${who ? `, ${who}` : ""}`,
  },
  quality: {
    open: "How good the alarms were", of: (days) => `Of the last ${days} days.`, few: "That is too little to say much.", here: "Here", aim: "Should be", what: "What",
    failed: (why) => `It cannot be shown: ${why}`,
  },

  // Room: probes
  buses: { heading: "Lines", up: "answers", took: (span) => `read in ${span}`, restarts: (n) => (n === 1 ? "restarted once" : `restarted ${n} times`) },
  probes: {
    heading: "Every probe", find: "Find a probe", none: "No probe is called so, nor its nest, line or number.", count: (n, bad) => `${n === 1 ? "1 probe" : `${n} probes`}, ${bad === 0 ? "all well" : bad === 1 ? "1 to look at" : `${bad} to look at`}`,
    site: "In no nest", place: "Place", bus: "Line", chip: "Chip", number: "Number", values: "Newest", errors: "Misses", faults: "Faults since the start", doubts: "In doubt", offset: "Corrected by", last: "Last fault",
    noNest: "in no nest", ratio: (percent) => `${percent} % of about the last hour`, times: (name, n) => `${name}: ${n}`, noFaults: "none", never: "nothing was ever compared",
    corrected: (value, method, date) => `${value}, ${method} of ${date}`, waiting: (value) => `${value} was measured and counts from the next start`,
    methods: { "ice-point": "in ice", "side-by-side": "beside another", reference: "beside a better one", salt: "over salt" },
    well: "well", silent: "no data", doubtful: "in doubt", misses: "misses many",
  },
  remedy: {
    silent: "Look at its plug and its cable. Feel by hand how the kits do.", fault: "Change it; until then look into the nest.", odd: "Look how it lies and whether it is wet; hold it in your hand and see whether it rises.",
    swapped: "Find out which probe it is, below.", scale: "Compare it with ice, below.", drifting: "Compare both of the nest with ice, below.", wet: "Let it dry, and look for what drips.", failing: "Change the cable before it goes.",
  },
  warm: {
    heading: "Which probe is this?", why: "Warm a probe in your hand, and see here which one it is. It takes about a minute.",
    start: "Begin", stop: "End", again: "Look for another",
    learning: "Do not touch any of them yet.", waiting: "Now close your hand round the tip of ONE probe, and hold it.", rising: (probe) => `${probe} rises. Hold on.`,
    several: (a, b) => `${a} and ${b} rise. Let go of both, wait a minute, and hold one alone.`,
    named: (probe) => `That is ${probe}.`, next: "Let it go. You can hold the next one now.", over: "It has ended.", lost: "No word from nestmon. Trying again…",
    sure: { sure: "Sure", fairly: "Quite sure", probably: "Probable; warm it once more to be sure" },
    rose: (rise, other, next) => `It rose by ${rise}${other ? `, the next, ${other}, by ${next}` : ""}.`,
    bound: (place, id) => `It belongs to ${place}. Its number is ${id}.`, wrong: "Is it another one? Then change the numbers of both in the configuration.",
    round: (span) => `Each is read once in about ${span}.`, slow: (span) => `One of them is read only once in ${span}: hold it for three times as long.`,
    left: (span) => `It ends in ${span}.`, bars: "Above its own start", blind: "not seen", apart: (list) => `Not found so, for they speak too seldom: ${list}.`,
    free: "Only probes of the configuration are read. A new one must be in it first.",
    hot: "Nothing rises? Where the air is as warm as your hand, dip the tip into warm water (not hot: 105 °F, 40 °C).",
  },
  ice: {
    heading: "Compare a probe with ice", why: "Melting ice is 32 °F (0 °C) everywhere. What a probe reads in it wrongly is taken off from then on.",
    probe: "Probe", choose: "choose one", start: "It lies in the ice", stop: "End, change nothing",
    cautions: ["Only a sealed probe: potted steel, no bare board and no humidity sensor, which water ruins.", "Keep the board, its supply and everything on mains voltage away from the water. Work away from the doe and her nest. Use a steel or plastic flask, no glass."],
    steps: ["Fill a vacuum flask to the bottom with crushed ice, best of distilled water; salt and dirt make it colder. Add just enough cold clean water to fill the gaps.",
      "Push the probe into the middle, at least 4 in (10 cm) deep with some of its cable, and off the walls. Stir now and then; pour off water and add ice while it floats up.",
      "Leave it: about six minutes, until it has been steady. You may put the phone away meanwhile."],
    raises: (list) => `While it lies there its nest reads 32 °F (0 °C). Expect: ${list}. Whoever is called should know.`, only: (probe, nest) => `${probe} is the only probe that watches ${nest} just now, and kits may lie there. While it is in ice nobody sees how they do. I stay with them.`,
    cannot: (list) => `Not for ice: ${list}.`,
    gone: "nestmon was started anew meanwhile, and the comparison ended. Nothing was changed; begin once more.",
    state: {
      waiting: () => "Waiting for its first reading.", away: () => "It is not in the ice yet, or not deep enough: more than 5 °F (3 °C) off.", broken: () => "A reading failed; waiting for an unbroken row.",
      settling: (i) => `It settles: ${i.left} more.`, uneven: (i) => `Not steady: ${i.spread} between its readings. Stir, push it deeper, add ice.`, moving: (i) => `Not steady: it moves by ${i.slope} a minute. Stir, push it deeper, add ice.`,
      ready: () => "Compared.", silent: (i) => `It gives no value (${i.fault}). Look at its plug and its cable. Nothing was changed.`, "too-far": () => "It is too far off: change it, an offset would hide what is wrong with it. Nothing was changed.",
      "too-long": (i) => `It did not become steady within half an hour. ${i.last} Nothing was changed.`, stopped: () => "Ended. Nothing was changed.",
    },
    now: "It reads", none: "no value", spread: (s) => `${s} between its readings, at most 0.27 °F (0.15 °C)`, trace: "What it read so far",
    result: (offset, mean, n) => `Its offset is ${offset}: it read ${mean} in ice, the mean of ${n} readings.`,
    stored: "Stored. It counts from the next start of nestmon, at the latest when the board is switched on anew.", unstored: (why) => `It does not count yet: ${why}.`, line: "For the configuration:", back: "Put the probe back into its place, and look at its alarms.",
  },

  // Room: settings
  settings: {
    device: {
      heading: "This device", theme: "Colours", themes: { system: "As the device", light: "Light", dark: "Dark" },
      name: "Name of this device", nameWhy: "Stands beside what you change here, such as “Anna’s phone”. Only this device keeps it.", nameKept: (name) => `What you change here is signed “${name}”.`,
      login: "Login", loggedIn: "Logged in: things can be changed from here.", loggedOut: "Not logged in. You are asked for the password when you change something.",
      install: {
        heading: "Home screen", button: "Put it on the home screen", offered: "This page can stand on the home screen like an app.", there: "It is on the home screen.",
        insecure: "Only a bookmark is possible here: to stand on the home screen as an app, the page must be opened over https.",
        apple: "Press Share, then “Add to Home Screen”.", menu: "Look in the browser’s menu for “Install” or “Add to Home screen”.",
      },
    },
    limits: {
      heading: "Limits", why: "What is an alarm, by the age of the kits. Press a number to change it: first in a draft, which can be held against the last 30 days.",
      places: { nest_air: "Nest air", cluster: "Pile of kits" }, age: "Days",
      keys: { cold_warn: "cold", cold_critical: "cold, urgent", heat_warn: "hot", heat_critical: "hot, urgent", chill_warn: "cold", chill_critical: "cold, urgent" },
      span: (from, to) => (from === to ? `${from}` : to >= 99 ? `${from}+` : `${from}–${to}`), days: (from, to) => (from === to ? `day ${from}` : to >= 99 ? `from day ${from}` : `days ${from}–${to}`),
      name: (place, key, days) => `${place}, ${key}, ${days}`, cell: (name, value, mark) => `${name}: ${value} ${mark}`,
      marks: { shipped: "", file: "file", page: "here", draft: "draft" },
      key: "Without a word: as shipped. “file”: from your configuration. “here”: set on this page, over both. “draft”: not in force yet.",
      means: (heat, critical, notice, delay) => `${notice ? "For information" : critical ? "Urgent" : "A warning"} when it is ${heat ? "above" : "below"} this for ${delay}.`,
      value: (unit) => `Limit in ${unit}`, lower: (by) => `Lower by ${by}`, higher: (by) => `Higher by ${by}`,
      inForce: (value, origin) => `In force: ${value}, ${origin}.`, shipped: (value) => `Shipped: ${value}.`,
      origins: { shipped: "as shipped", file: (line) => (line ? `from line ${line} of your configuration` : "from your configuration"), page: (who, when) => `set here${who ? ` by ${who}` : ""}, ${when}` },
      draft: "Into the draft", back: (value) => `Back to the file’s: ${value}`, forget: "Take out of the draft", notANumber: "Write a number.",
      mustExceed: (key, value) => `It must be above “${key}”, which is ${value}.`, mustStayUnder: (key, value) => `It must be below “${key}”, which is ${value}.`,
      draftHeading: (n) => (n === 1 ? "Draft: 1 change, not in force" : `Draft: ${n} changes, not in force`), changed: (name, was, is, back) => `${name}: ${was} → ${is}${back ? " (the file’s again)" : ""}`,
      force: "Put in force", drop: "Drop the draft", what: "Limits",
      sure: "Are you sure?", iAmSure: "I am sure: put it in force",
      risk: (place, days, value, shipped, key) => key.startsWith("heat")
        ? `${place}, ${days}: up to ${value} would raise no ${key.endsWith("critical") ? "urgent alarm" : "warning"}. The shipped limit is ${shipped}.`
        : `${place}, ${days}: down to ${value} would raise no ${key.endsWith("critical") ? "urgent alarm" : "warning"}. The shipped limit is ${shipped}.`,
      aside: (name, value, why) => `Not in force: ${name}, ${value}, set here. Your configuration leaves no room for it: ${why}`,
      wrong: (why) => `What was set here cannot be read; your configuration’s limits count alone. ${why}`,
      changes: "What was changed here", unreadable: (why) => `The limits cannot be shown: ${why}`, stale: (why) => `What is in force now could not be read; below is what was before. ${why}`,
    },
    preview: {
      heading: "The last 30 days, once more", button: "Hold it against the last 30 days", what: "Look back", starting: "Beginning to look back…", started: "Looking back in the background; alarms go on as ever.",
      progress: "How far the look back is", running: (percent) => `Looking back: ${percent} %`, another: "Somebody looks back at other limits just now; wait, or stop it.", stop: "Stop", stopping: "Stopping…", stopped: "Stopped.", failed: (why) => `It could not be looked at: ${why}`,
      nothing: "In these 30 days it would have changed no alarm.",
      sum: (now, then, urgentNow, urgentThen) => `${now} alarms with the limits in force, ${urgentNow} of them urgent. With the draft ${then}, ${urgentThen} of them urgent.`,
      now: "In force", then: "Draft", alarm: "Alarm", table: "What would change, by nest and alarm", measure: (n, hours) => (n === 0 ? "–" : `${n}, ${hours}`), noTime: "moments",
      strips: "Above the line: what would go or be otherwise. Below it: what the draft would raise.",
      come: (n) => (n === 1 ? "1 alarm would come" : `${n} alarms would come`), go: (n) => (n === 1 ? "1 alarm would go" : `${n} alarms would go`), differ: (n) => (n === 1 ? "1 alarm would be otherwise" : `${n} alarms would come or go at another time, or be more or less urgent`),
      newest: (n) => `The newest ${n}.`, spell: (from, to) => `${from} – ${to}`, stillOn: "still on",
      seen: (had, judged, all) => `There was data in ${Math.round((100 * had) / Math.max(all, 1))} % of the hours; heat could be judged in ${Math.round((100 * judged) / Math.max(all, 1))} %`, seenNest: (data, all, heat, chill, cold) => `data in ${data} of ${all} h; judged: heat ${heat} h, chill ${chill} h, cold ${cold} h`,
      basis: (polls, took) => `${polls} measurements were judged again by the litter book of today. Nobody acknowledges there. It took ${took}.`,
    },
    facts: {
      heading: "In force", why: "As the running program has it. What is not set here is changed in the configuration, by its keeper.", shipped: "as shipped", line: (n) => `line ${n} of the configuration`,
      site: "Site", poll: "Measured every", timezone: "Time zone", altitude: "Altitude", metres: (m) => `${m} m`, outside: "Probe outside", version: "Version",
      nests: (n) => `Nests: ${n}`, lined: "lined", role: (role, probe) => `${role}: ${probe}`, probes: (n) => `Probes: ${n}`, every: (span) => `every ${span}`, stale: (span) => `not believed after ${span}`,
      chores: "Days of the chores", window: (from, to) => `days ${from} to ${to}`, day: (n) => `day ${n}`,
      chore: {
        check_pregnancy: "Check whether she is pregnant", box_in: "Box in", kindling: "Kits can come", expected: "Kits expected", strays: "Kits may be born outside the box", overdue: "Overdue", veterinarian: "Call the veterinarian", ration: "Raise the ration",
        collect: "Collect from a tote", emerged: "Kits out by themselves", turn_box: "Turn the box", box_out: "Box out", hide_box: "Hide box", bedding: "Bedding", wean: "Wean", wean_at: "Wean, suggested", inspect: "Inspect", indoors: "Carried indoors", water: "Unfrozen water",
        flies: "Fly strike", reseal: "Seal the tote", off: "Not wanted",
      },
      // The parts of a chore's rule. Of inspect, every is in hours and from and until are hours of the day; of flies, every is in days.
      part: {
        after: (n) => `${n} days after the box is out`, days: (n) => `asked for ${n} days`, first: (n) => `day ${n}`, second: (n) => `day ${n}`, "bedding.every": (n) => `then every ${n} days`,
        winter: (n) => `winter: day ${n}`, mild: (n) => `mild season: day ${n}`, summer: (n) => `summer: day ${n}`, "inspect.every": (n) => `every ${n} h`, "inspect.from": (n) => `from ${n} o’clock`, "inspect.until": (n) => `until ${n} o’clock`,
        back: (n) => `back after ${n} h`, late: (n) => `late after ${n} h`, morning: (n) => `${n} o’clock`, evening: (n) => `${n} o’clock`, years: (n) => `every ${n} years`, wet: (n) => `sooner after ${n} days with water in it`, "flies.every": (n) => `every ${n} days`,
        below: (t) => `below ${t} outside`, above: (t) => `above ${t} outside`, damp: (t) => `above ${t} on damp bedding`,
      },
      sink: { "publish.mqtt": "MQTT", "publish.prometheus": "Prometheus", "publish.influxdb": "InfluxDB", "publish.page": "Page", phone: "Messages" },
      ways: "Ways out", channel: "calls you", nobody: "Nobody is called", on: "on", off: "off",
      page: "This page", address: "Address for phones", noAddress: "none: messages have no links", tls: "https", password: "Password", view: "Reading", open: "open to whoever reaches it", closed: "only after logging in", yes: "yes", no: "no",
    },
  },

  push: {
    heading: "Alarms on this phone",
    insecure: "Not possible here: it needs this page to be opened over https, with a certificate that this phone trusts.",
    homeScreen: "On an iPhone or iPad add this page to the Home Screen first (Share, Add to Home Screen), then open it from there.",
    unable: "This browser cannot be called; use another one on this phone.",
    denied: "This browser forbids notifications from this page; allow them in its settings for this site, then load the page again.",
    notYet: "This phone is not signed up.",
    lost: "No alarm reaches this phone any more: it is no longer signed up. Sign it up again.",
    signedUp: (label) => `Signed up as ${label}.`,
    label: "Name of this phone",
    signUp: "Sign up", signOff: "Sign off", test: "Call it now, as a test",
    takeOff: (label) => `Take ${label} off`,
    all: (n) => (n === 1 ? "1 phone" : `${n} phones`),
    since: (when) => `signed up ${when}`,
    lastOK: (when) => `last called ${when}`, neverOK: "never called yet",
    gone: (when) => `no longer signed up, told ${when}: open the page there and sign up again`,
    wait: "One moment…", done: "Signed up. Call it now, to see that it works.", off: "Signed off.",
    tested: "Sent. The message must appear here within a minute; if it does not, look at this phone’s settings for notifications and for saving its battery.",
    failed: (why) => `That did not work: ${why}`,
    unreachable: "nestmon does not answer", logIn: "log in on this page first, then try again",
  },
  foot: (version, since) => `nestmon ${version}${since ? `, running since ${since}` : ""}.`,
};
