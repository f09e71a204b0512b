// What the page was told when it was rendered: who is signed in, which place it is about, the words of its language.
const told = JSON.parse(document.getElementById("told").textContent);

export const person = told.person;
export const place = told.place;
export const language = told.language;

/** The words of the reader's language for these English ones; {name} is replaced by the value of that name. */
export function t(english, values = {}) {
  const words = told.words[english] ?? english;
  return words.replace(/\{(\w+)\}/g, (all, name) => values[name] ?? all);
}
