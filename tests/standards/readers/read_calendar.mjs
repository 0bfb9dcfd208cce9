// Prints every event of the calendar on standard input as JSON: uid, begins and ends (UTC), sequence, status, summary.
import { readFileSync } from "node:fs";
import ICAL from "ical.js";

const calendar = new ICAL.Component(ICAL.parse(readFileSync(0, "utf8")));
const events = calendar.getAllSubcomponents("vevent").map((component) => {
  const event = new ICAL.Event(component);
  return {
    uid: event.uid,
    begins: event.startDate.toJSDate().toISOString(),
    ends: event.endDate.toJSDate().toISOString(),
    sequence: event.sequence,
    status: component.getFirstPropertyValue("status"),
    summary: event.summary,
    location: event.location,
  };
});
console.log(JSON.stringify(events));
