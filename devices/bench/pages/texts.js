// Every text that the page's scripts show, in one place; what never changes stands in bench.html,
// and words on a job come from the server.
import { gettext } from "./words.js";

export const texts = {
  measure: gettext("Measure"), choose: gettext("Choose"), see: gettext("See it"),
  way: gettext("Way"), ready: gettext("Get ready"), mark: gettext("Mark"),
  prove: gettext("Prove"), keep: gettext("Keep"),
  bench: gettext("{job} · bench"),
  inStep: gettext("In step"),
  notConnected: gettext("Not connected"),
  notDone: gettext("Not done, for want of a connection: {what}. Try it once more."),
  earlierRun: gettext("This page is of an earlier run. Open the address that canvasrule bench prints now."),
  undo: gettext("Undo"), redo: gettext("Redo"),
  numeral: gettext("{text}, {height} high"),
  pointer: gettext("{along} from zero, {across} from the near edge"),

  open: gettext("Open"), openNow: gettext("Open now"), openJob: gettext("Open {job}"),
  jobNamed: gettext("{title} ({name})"),
  anotherSize: gettext("another size"),
  makeJob: gettext("Make a job"), copyJob: gettext("Copy the job"), renameJob: gettext("Rename the job"),

  working: gettext("Working…"), done: gettext("Done."), failed: gettext("Not done."),
  printed: gettext("What it says"),
  changedSince: gettext("The job has changed since; ask again."),
  chosen: gettext("Chosen"), chooseThis: gettext("Choose"), chooseWay: gettext("Choose a way"),
  hours: gettext("{low} to {high} h"),
  personHours: gettext("{hours} of a person's time"),
  leastHours: gettext("The least hours of those that hold."),
  clockOne: gettext("By the clock {hours}, with one person."),
  clockMore: gettext("By the clock {hours}, with {people} people."),
  worst: gettext("Worst line {line}, worst step {step}."),
  needs: gettext("Needs {what}."),
  doesNotHold: gettext("Does not hold: {why}"),
  corners: gettext("{one} to {other}"),
  cornersHelp: gettext("As the tape showed it on the scrap."),
  distance: gettext("{id}: {one} to {other}"),
  distanceHelp: gettext("{purpose}; near {length}"),
  tickRuled: gettext("Tick ruled lines"),

  noPort: gettext("no port is there"), port: gettext("{name}, {about}"),
  rehearse: gettext("Rehearse"), ink: gettext("Ink"), holdHere: gettext("Hold the machine here"),
  key: gettext("the key {key}"),
  lightOn: gettext("Open the stage"), lightOff: gettext("End the light"),
  rehearsal: gettext("A rehearsal: the plotter and the cloth are simulated."),
  holdsHere: gettext("This page holds the machine."),
  holdsElsewhere: gettext("Another page holds the machine."),
  endedWell: gettext("Done."),
  endedEarly: gettext("It ended before all was drawn; the last lines say why."),
};

// A text with what stands in its braces put in.
export function filled(template, values) {
  return template.replace(/\{(\w+)\}/g, (_, name) => values[name]);
}
