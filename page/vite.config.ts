import { defineConfig } from 'vite';

// The content security policy forbids inline scripts, inline styles and data: scripts, so nothing may be inlined.
export default defineConfig({
  base: '/',
  build: {
    target: 'es2022',
    assetsInlineLimit: 0,
    modulePreload: { polyfill: false },
    reportCompressedSize: false,
    sourcemap: false,
  },
});
