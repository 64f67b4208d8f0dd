// What this phone likes. A browser that keeps nothing must not keep the page from working.
import { effect, signal, type Signal } from '@preact/signals'
import type { Scale } from './format'

function kept<V>(name: string, start: V): Signal<V> {
  let value = start
  try {
    const text = localStorage.getItem(name)
    if (text !== null) value = JSON.parse(text) as V
  } catch { /* private browsing, or a value of another version */ }
  const found = signal(value)
  effect(() => {
    const text = JSON.stringify(found.value)
    try { localStorage.setItem(name, text) } catch { /* as above */ }
  })
  return found
}

export const scale = kept<Scale>('scale', 'C')
export const chosen = kept<string[]>('trends', [])

/** '' follows the phone. Stored bare, because early.js reads it before anything is painted. */
export const theme = signal((() => { try { return localStorage.getItem('theme') ?? '' } catch { return '' } })())
effect(() => {
  const root = document.documentElement
  if (theme.value) root.dataset['theme'] = theme.value
  else delete root.dataset['theme']
  try { localStorage.setItem('theme', theme.value) } catch { /* as above */ }
})
