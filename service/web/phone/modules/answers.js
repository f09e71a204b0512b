// What an answer of the service means for the item that was sent.
import { t } from "./told.js";

const AGAIN = new Set([408, 425, 429, 500, 502, 503, 504]);

/** What the service said, in words for a person. */
export async function reason(answer) {
  const problem = await answer.clone().json().catch(() => null);
  if (!problem?.title) return { status: answer.status, title: t("Not accepted"), detail: `HTTP ${answer.status}`, fields: [] };
  const fields = (problem.errors ?? []).map((each) => ({ pointer: each.pointer, detail: each.detail }));
  const kind = problem.type?.split("/").at(-1);
  return { status: answer.status, kind, title: problem.title, detail: problem.detail, fields };
}

/** `taken`, `again` (try later), `signedOut`, or `refused`. */
export function verdict(answer) {
  if (answer.ok) return "taken";
  if (answer.status === 401) return "signedOut";
  return AGAIN.has(answer.status) ? "again" : "refused";
}
