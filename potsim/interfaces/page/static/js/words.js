// What the view says itself: orders, acts, captions. Labels of the plan and its numbers come from the server.
export const words = {
  places: [["shelf", "Shelf"], ["plan", "Plan"], ["now", "Now"], ["pour", "Pour"], ["trials", "Trials"]],
  capital: (text) => text.charAt(0).toUpperCase() + text.slice(1),
  leads: " leads",
  leadsThen: (next, where) => ` leads, ${next} from ${where}`,
  kept: "kept", keeping: "keeping…", keptHere: "kept on this device", notYours: "an example, not yours",
  order: {
    drop: "First drop in", dropDue: "First drop is due",
    jar: (next) => `Change to jar ${next} in`, jarSoon: (next) => `Get jar ${next} ready`, jarDue: (next) => `Change to jar ${next} now`,
    taste: "Taste, then empty into the keep", tasteDue: "Taste and empty it now",
    stop: "Stop in", stopSoon: "Be ready to stop", stopDue: "Stop: turn the heat off",
    off: "Turn the heat off in", offSoon: "Be ready: heat off", offDue: "Turn off now",
    least: "Pot at its least level in", leastSoon: "Be ready: heat off", leastDue: "Pot at its least: turn the heat off",
    over: "The run is over",
  },
  where: {
    at: (volume) => `at ${volume} collected`,
    holds: (n, volume) => `jar ${n} has its ${volume}`,
    working: (size, volume) => `until the jar holds ${size}, at ${volume}`,
    carriesOn: "the plate's heat carries it to the stop",
    stop: (volume, abv) => `at ${volume} collected, ${abv} at the spout`,
    drop: "keep the first drops apart: heads",
    past: (time) => `past the stop by ${time}`,
  },
  jars: (numbers) => (numbers.length === 1 ? `jar ${numbers[0]}` : `jars ${numbers[0]} to ${numbers[numbers.length - 1]}`),
  forgotten: (n, held) => `Were the jars changed as planned? ${held} is more than jar ${n} holds.`,
  // More than that is all of it; less, where the least that it may take is less.
  firstWater: (share) => (share > 0.91 ? "Pour in water" : share > 0.89 ? "Pour in first, nine tenths" : "Pour in first"),
  nineInTen: "nine runs in ten will lie between",
  reckoning: "reckoning…",
  plainNet: "Leave this page open: without the laptop clock, alarms and your notes go on and are sent later; only loading it anew needs the laptop.",
  away: "laptop away",
  waitsHere: "kept here: laptop away",
  waits: (n) => (n === 1 ? "1 note waits here: laptop away" : `${n} notes wait here: laptop away`),
  refused: (n) => (n === 1 ? "1 note was refused" : `${n} notes were refused`),
  sound: { on: "sound on", off: "sound off", tap: "tap for sound" },
  dose: (one, volume, bare) => {
    if (one.class === "stays") return "stays in the pot";
    const where = one.from_l === null || one.from_l === undefined ? "" : one.to_l === null || one.to_l === undefined ? `from ${volume(one.from_l)}` : `${bare(one.from_l)} to ${volume(one.to_l)}`;
    const stays = one.stays > 0.005 ? `${Math.round(one.stays * 100)} % stays` : "";
    return [[one.class, where].filter(Boolean).join(", "), stays].filter(Boolean).join("; ");
  },
  yourRun: "your run will lie here",
  nothingOver: "Nothing is over yet.",
  oneMore: "One more to compare.",
  noRun: "No run yet. Begin one from a plan.",
};
