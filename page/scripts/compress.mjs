// Writes FILE.br and FILE.gz beside each text file of dist, so that the server compresses nothing while it runs.
import { readdirSync, readFileSync, statSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { brotliCompressSync, constants, gzipSync } from 'node:zlib';

const dist = new URL('../dist/', import.meta.url).pathname;
let raw = 0;
let brotli = 0;
let gzip = 0;

function walk(folder) {
  for (const name of readdirSync(folder)) {
    const path = join(folder, name);
    if (statSync(path).isDirectory()) {
      walk(path);
    } else if (/\.(html|js|css|svg|webmanifest)$/.test(name)) {
      const bytes = readFileSync(path);
      const br = brotliCompressSync(bytes, { params: { [constants.BROTLI_PARAM_QUALITY]: 11 } });
      const gz = gzipSync(bytes, { level: 9 });
      writeFileSync(`${path}.br`, br);
      writeFileSync(`${path}.gz`, gz);
      raw += bytes.length;
      brotli += br.length;
      gzip += gz.length;
    }
  }
}

walk(dist);
const kB = (bytes) => `${(bytes / 1000).toFixed(1)} kB`;
console.log(`page: ${kB(raw)}, gzip ${kB(gzip)}, brotli ${kB(brotli)}`);
if (gzip > 300_000) {
  console.error('the page is heavier than 300 kB compressed');
  process.exit(1);
}
