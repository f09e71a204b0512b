// How far this phone's clock is ahead of the service's, and times set right by it before they are first sent.
const SMALLEST_MILLISECONDS = 60_000; // the Date header counts seconds, and an answer takes a while
let ahead = 0;

/** Compare with the service's clock: `begun` and `ended` are this phone's, around a request. */
export function compare(answer, begun, ended) {
  const theirs = Date.parse(answer.headers.get("Date") ?? "");
  if (Number.isNaN(theirs)) return;
  const difference = (begun + ended) / 2 - theirs;
  ahead = Math.abs(difference) < SMALLEST_MILLISECONDS ? 0 : difference;
}

/** Milliseconds by which this phone's clock is ahead; 0 when it is right. */
export function aheadBy() {
  return ahead;
}

/** A time as RFC 3339 text with this phone's offset. */
export function rfc3339(milliseconds) {
  const at = new Date(milliseconds);
  const minutes = -at.getTimezoneOffset();
  const two = (number) => String(Math.floor(Math.abs(number))).padStart(2, "0");
  const local = new Date(milliseconds + minutes * 60_000).toISOString().slice(0, 19);
  return `${local}${minutes < 0 ? "-" : "+"}${two(minutes / 60)}:${two(minutes % 60)}`;
}

/** The hour and minute of a time on this phone's clock. */
export function clockTime(milliseconds) {
  return rfc3339(milliseconds).slice(11, 16);
}

/** A day and minute on this phone's clock, written alike in every language. */
export function dayAndTime(milliseconds) {
  return rfc3339(milliseconds).slice(0, 16).replace("T", " ");
}

/** A body whose automatic times (the fields named) are by the service's clock; the body itself when nothing is off. */
export function setRight(body, fields) {
  if (ahead === 0) return body;
  const right = { ...body };
  for (const field of fields) {
    if (right[field]) right[field] = rfc3339(Date.parse(right[field]) - ahead);
  }
  return right;
}
