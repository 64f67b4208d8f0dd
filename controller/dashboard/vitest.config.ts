import { defineConfig } from 'vitest/config'

export default defineConfig({ test: { include: ['../../tests/page/pure/*.test.ts'], root: '.' }, server: { fs: { strict: false } } })
