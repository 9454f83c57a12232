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
    unknown: (what) => `No answer: ${what}. It may be saved or not; look at the alarm again.`,
  },
  login: {
    heading: "Log in", why: "To change something, write the password of this page. This browser remembers it for 30 days.", look: "To look, write the password of this page. This browser remembers it for 30 days.", closed: "This page is shown to who has logged in.", user: "User", password: "Password", in: "Log in", cancel: "Cancel", out: "Log out", gone: "Logged out.",
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

  // Room: alarms

  // Room: probes

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
      columns: { cold_warn: "cold", cold_critical: "cold, urgent", heat_warn: "hot", heat_critical: "hot, urgent", chill_warn: "cold", chill_critical: "cold, urgent" },
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
      risk: (place, days, i, value, shipped, key) => key.startsWith("heat")
        ? `${place}, ${days}: up to ${value} would raise no ${key.endsWith("critical") ? "urgent alarm" : "warning"}. The shipped limit is ${shipped}.`
        : `${place}, ${days}: down to ${value} would raise no ${key.endsWith("critical") ? "urgent alarm" : "warning"}. The shipped limit is ${shipped}.`,
      aside: (name, value, why) => `Not in force: ${name}, ${value}, set here. Your configuration leaves no room for it: ${why}`,
      wrong: (why) => `What was set here cannot be read; your configuration’s limits count alone. ${why}`,
      changes: "What was changed here", unreadable: (why) => `The limits cannot be shown: ${why}`,
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
      basis: (polls, took) => `${polls} measurements were judged again, as “nestmon replay” does, by the litter book of today. Nobody acknowledges there. It took ${took}.`,
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
