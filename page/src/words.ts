// What the program says to whoever types commands, said to whoever looks at this page.
import { text } from './text';

/** The same words with fields and pages of this one where they name options and commands. */
export function forThePage(words: string): string {
  if (!/--|flattop /.test(words)) return words;
  return text.commandWords.reduce((said, [named, here]) => said.replace(named, here), words);
}
