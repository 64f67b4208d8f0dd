// The phone's half of controller/page/difference.py: a list of one replaces, an object goes deeper.
export function applied(old: unknown, change: unknown): unknown {
  if (Array.isArray(change)) return change[0]
  const parts = change as Record<string, unknown>
  if (Array.isArray(old)) return old.map((was, at) => (at in parts ? applied(was, parts[at]) : was))
  const now: Record<string, unknown> = { ...(old as Record<string, unknown>) }
  for (const [key, part] of Object.entries(parts)) now[key] = applied(now[key], part)
  return now
}
