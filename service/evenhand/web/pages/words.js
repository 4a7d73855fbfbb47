// The words of the pages, from one file for each language; another file is another language.

const KEPT = "evenhand.language";

let words = {};
let names = {}; // of the languages to choose from, each in its own
let chosen = "en";

/** The language to begin with: the one chosen before, or the first that the browser asks for. */
function first() {
  const kept = localStorage.getItem(KEPT);
  if (kept in names) return kept;
  const asked = navigator.languages.map((language) => language.slice(0, 2));
  return asked.find((language) => language in names) ?? "en";
}

/** @param {string} [page]  "client" where only the texts for the pages of links are needed */
export async function loadWords(page) {
  const languages = await fetch("/pages/languages.json").then((response) => response.json());
  names = Object.fromEntries(Object.entries(languages).filter(([, { whole }]) => whole || page === "client")
    .map(([language, { name }]) => [language, name]));
  chosen = first();
  const [english, own] = await Promise.all(
    ["en", chosen].map((language) => fetch(`/pages/texts/${language}.json`).then((r) => r.json())),
  );
  words = { ...english, ...own };
  document.documentElement.lang = chosen;
  for (const place of document.querySelectorAll("[data-word]")) {
    place.textContent = say(place.dataset.word);
  }
}

export const language = () => chosen;

/** A text with its {places} filled in. A text with a number may have forms for "one" and "other". */
export function say(key, places = {}) {
  let text = words[key] ?? key;
  if (typeof text === "object") {
    text = text[new Intl.PluralRules(chosen).select(places.count)] ?? text.other;
  }
  return text.replace(/\{(\w+)\}/g, (whole, name) => places[name] ?? whole);
}

/** A text if there is one, else what is given. */
export const sayOr = (key, fallback) => (key in words ? say(key) : fallback);

/** The language as the browser asks for it, such as en-GB, so that dates look as they do at home. */
const locale = () => navigator.languages.find((one) => one.slice(0, 2) === chosen) ?? chosen;

export const sayDate = (moment) =>
  new Intl.DateTimeFormat(locale(), { dateStyle: "medium", timeStyle: "short" }).format(new Date(moment));

export const sayPercent = (share) =>
  new Intl.NumberFormat(locale(), { style: "percent", maximumFractionDigits: 0 }).format(share);

export const sayNumber = (number, digits = 1) =>
  new Intl.NumberFormat(locale(), { maximumFractionDigits: digits }).format(number);

/** Things in a row, with an "and" before the last. */
export const sayList = (things) => new Intl.ListFormat(locale(), { type: "conjunction" }).format(things);

/** A control that changes the language; the page is loaded again in it, where it stands. */
export function languageControl(element) {
  return element(
    "select",
    {
      "aria-label": say("language"),
      onchange: (event) => {
        localStorage.setItem(KEPT, event.target.value);
        location.reload();
      },
    },
    Object.entries(names).map(([one, name]) =>
      element("option", { value: one, lang: one, selected: one === chosen }, name),
    ),
  );
}
