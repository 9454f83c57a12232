// Every text of the page. Another language is another file like this one; sentences about an alarm come from the daemon.

export const texts = {
  locale: undefined, // the browser's own way to write dates and numbers
  title: "nestmon",
  units: { label: "Show temperatures in", fahrenheit: "°F", celsius: "°C" },
  asOf: (when) => `Now: ${when}`,

  rooms: {
    label: "Rooms", skip: "Skip to the room", now: "Now", book: "Book", alarms: "Alarms", probes: "Probes", settings: "Settings", nest: "Nest",
    missing: "This part of the page could not be fetched: nestmon is out of reach, or was just replaced.", again: "Try again",
    alarmCount: (n) => (n === 1 ? "1 alarm" : `${n} alarms`), choreCount: (n) => (n === 1 ? "1 thing to do" : `${n} things to do`),
  },

  severity: { urgent: "Urgent", warning: "Warning", notice: "Notice", none: "No alarm" },
  verdict: {
    waiting: "Waiting for the first word from nestmon.",
    unknown: "Not known. What is shown below is old.",
    urgent: (n) => (n === 1 ? "Go now: 1 urgent alarm." : `Go now: ${n} urgent alarms.`),
    warning: (n) => (n === 1 ? "Look soon: 1 warning." : `Look soon: ${n} warnings.`),
    notice: (n) => (n === 1 ? "1 notice, no alarm." : `${n} notices, no alarm.`),
    none: "No alarm.",
    watched: (n) => (n === 1 ? "1 nest, fully watched." : `${n} nests, all fully watched.`),
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
    button: "Saving…", sending: "Sending…",
    what: (name, action) => `${name} – ${action}`,
    saving: (what) => `Saving: ${what}`,
    saved: (what) => `Saved: ${what}`,
    refused: (what, why) => `Not saved: ${what}. ${why}`,
    nobody: (what) => `Not saved: ${what}. Nobody logged in.`,
    unknown: (what) => `No answer: ${what}. It may be saved or not, and is not sent again by itself; look at the alarm again.`,
  },
  login: {
    heading: "Log in", why: "To change something, write the password of this page. This browser remembers it for 30 days.", look: "To look, write the password of this page. This browser remembers it for 30 days.", closed: "Nothing is shown here before you log in.", user: "User", password: "Password", in: "Log in", cancel: "Cancel", out: "Log out", gone: "Logged out.",
    trying: "Looking…", refused: (why) => `Not logged in: ${why}.`, failed: "nestmon gives no answer. Try again.",
  },
  locked: "Nothing can be changed from this page while it has no password: make one with “nestmon password”, and name its file under publish.page.password_file.",
  test: {
    button: "Test my phone", trying: "Sending a test over every channel…", said: "The test is over; what came of it stands below its button.", none: "No channel is configured: nobody is called. Write one under phone.",
    arrived: (channel) => `${channel}: sent. Look whether it arrived.`, failed: (channel, why) => `${channel}: not sent. ${why}`,
  },
  past: {
    open: (days) => `What happened in the last ${days} days`, none: "Nothing happened.", most: (n) => `The newest ${n}.`, failed: (why) => `It cannot be shown: ${why}`,
    raised: (severity) => `${severity}, began or grew worse`, cleared: () => "over", noted: () => "noted",
  },

  why: { open: "Why", rule: (rule) => `Rule: ${rule}.`, source: (source) => `Source: ${source}.` },
  against: (value, limit) => `${value}, limit ${limit}`,

  kind: { "wooden-box": "wooden box", "metal-box": "metal box", "buried-tote": "buried tote" },
  season: { winter: "winter", mild: "mild season", summer: "summer" },
  stage: { empty: "no litter entered", bred: "bred, box not due", waiting: "waiting for kits", nursing: "kits in the nest", out: "old enough to leave the nest" },
  day: (n) => `day ${n}`,
  born: (n) => (n === 1 ? "1 kit born" : `${n} kits born`),

  role: { cluster: "Cluster", "cluster-2": "Cluster, second probe", air: "Nest air", co2: "CO₂", cage: "Doe’s cage", outside: "Outside", battery: "Battery" },
  quantity: { temperature: "temperature", humidity: "humidity", co2: "CO₂", voltage: "voltage", current: "current" },
  noProbe: "no probe",
  noData: "no data",
  never: "never any",
  last: (ago) => `last ${ago}`,
  ago: (span) => `${span} ago`,
  justNow: "just now",
  second: (n) => `${n}\u00a0s`, minute: (n) => `${n}\u00a0min`, hour: (n) => `${n}\u00a0h`, days: (n) => (n === 1 ? "1\u00a0day" : `${n}\u00a0days`),
  underMinute: "under 1\u00a0min",
  unit: { "g/m3": "g/m³" },
  core: (t) => `Core of the cluster, estimated ${t}`,
  thi: "heat index", thiNote: "of that air, for rabbits",
  limit: { cold: (t) => `cold < ${t}`, hot: (t) => `hot > ${t}`, urgent: (t) => `urgent > ${t}`, noCold: "no cold limit", noHot: "no hot limit" },
  mark: { above: "over the limit", below: "under the limit", inside: "between the limits", underHot: "under the hot limit", overCold: "over the cold limit", unjudged: "no limits in force" },

  judged: (list) => `Watched: ${list}.`,
  judgedPartly: (dangers, why) => `Watched: ${dangers} (${why})`,
  partly: "Partly watched",
  unknown: "Not known",
  notJudged: (dangers, why) => `Not judged: ${dangers}${why ? ` (${why})` : ""}`,
  danger: { heat: "heat", chill: "chill", cold: "cold", damp: "wet bedding" },

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
  seesAll: "Every probe answers. It never sees a single kit that strayed from the others.",
  notConfigured: "No outside probe: a coming freeze, and heat for does without a probe in their cage, are not judged.",

  // Room: now
  next: {
    label: (event, when) => `Next: ${event}, ${when}`, none: "Nothing to do is planned.", overdue: (when) => `overdue since ${when}`, since: (when) => `since ${when}`, today: (when) => `today, ${when}`,
  },
  moreAlarms: (n) => (n === 1 ? "1 more alarm" : `${n} more alarms`),

  // Room: nest
  nest: { open: (nest) => `Look at ${nest}`, none: (nest) => `There is no nest ${nest}.`, measured: "Measured", judged: "What is watched", learned: "What it has shown of itself" },

  // Room: book
  book: {
    undo: "Undo", undoOf: (what) => `Undo: ${what}`, save: "Save", other: "Other…", unsaid: "Not said", optional: (name) => `${name} (may be left out)`, rarely: "More to say",
    less: "Less", more: "More", moreThan: (n) => `${n}+`, missing: (name) => `${name}: choose or write it.`, nothingChanged: "Nothing was changed.", saidNothing: "entered",
    noForms: "nestmon has not told yet what can be entered; open the book once where it can be reached.", noBook: "nobody keeps a litter book here",
    never: "nestmon has not been reached yet.", asOf: (when, why) => `As nestmon said ${when}${why ? `: ${why}` : ""}. It cannot be reached now; what you enter waits here.`,
    loading: "Reading the book…", outOfReach: "nestmon cannot be reached now", notRead: (why) => `Not read: ${why}.`,
    tabs: { label: "Parts of the book", nests: "Nests", chores: "To do", litters: "Litters", due: (n) => (n === 1 ? "1 due" : `${n} due`) },
    find: "Find a nest or a doe",
    groups: { label: "Which nests", all: (n) => `All ${n}`, kits: (n) => `Kits ${n}`, due: (n) => `Bred ${n}`, empty: (n) => `Empty ${n}` },
    noNests: "No nest is configured.", noneFound: "No such nest.", noTasks: "Nothing is to do.", site: "The whole site",
    litter: (n) => `Litter ${n}`, litterIn: (n, nest) => `Litter ${n}, ${nest}`, day: (n) => `day ${n}`, bredDay: (n) => `bred ${n} days ago`, uncounted: "not counted",
    kits: (alive, born) => (born !== null && born !== alive ? `${alive} of ${born} kits` : alive === 1 ? "1 kit" : `${alive} kits`), kitCount: (n) => (n === 1 ? "1 kit" : `${n} kits`),
    empty: "no litter", looked: (when) => `Looked in at ${when}`, neverLooked: "Nobody has looked in yet", alsoBred: (who) => `bred again: ${who}`, indoors: "indoors", noticed: "kits seem to be born: enter it",
    noticedAt: (when) => `Kits seem to be born since ${when}. Look, and enter the kindling.`,
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
      chilled: "Chilled", overheated: "Overheated", "dragged-out": "Dragged out", crushed: "Crushed", unfed: "Unfed", other: "Other", pregnant: "Kits", "not-pregnant": "No kits", unsure: "Not sure",
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

  // Room: probes

  // Room: settings

  graph: {
    open: (nest) => `The day of ${nest}`, show: "Show the day", hide: "Hide the day", table: "As a table", chart: "As a graph",
    loading: "Reading the archive…", failed: (why) => `The day cannot be shown: ${why}`, empty: "Nothing was measured in this day.",
    limitsNote: "Limits are drawn as they are now; they change with the litter’s age. Gaps are times without data.",
    cold: (role) => `${role}: cold limit`, hot: (role) => `${role}: hot limit`, time: "Time",
    until: (when) => `Drawn until ${when}.`,
    tableNote: "Mean of each hour, below it the lowest and the highest.", none: "–",
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
