// Two builds without a shared chunk: the page itself, which the server writes into the HTML, and the trends, fetched when
// first looked at. File names carry no hash: the server puts the hash of everything into the address. (Not `build.lib`:
// that leaves the white space in.)
import { defineConfig } from 'vite'

export default defineConfig(({ mode }) => {
  const trend = mode === 'trend'
  return {
    publicDir: trend ? false : 'public',
    oxc: { jsx: { runtime: 'automatic', importSource: 'preact' } },
    build: {
      emptyOutDir: !trend,
      target: 'es2022',
      modulePreload: false,
      cssCodeSplit: false,
      rolldownOptions: {
        input: trend ? 'src/trend.ts' : 'src/main.tsx',
        preserveEntrySignatures: 'strict',
        output: { entryFileNames: trend ? 'trend.js' : 'app.js', assetFileNames: 'app.[ext]', codeSplitting: false },
      },
    },
  }
})
