// Which locale numbers, dates and units are written in. The words are in text.ts.

const asked = typeof navigator === 'undefined' ? [] : [...navigator.languages];

/** The reader's locale for numbers; an unusable one falls back to English. */
export const LOCALE: string = (() => {
  try {
    return Intl.NumberFormat.supportedLocalesOf(asked)[0] ?? 'en';
  } catch {
    return 'en';
  }
})();
