// Before anything else: ask for what is live, so that its round trip runs beside the rest of the page.
self.lyewatch = { build: 'BUILD_ID', early: fetch('/live?rig=' + (location.pathname.match(/^\/rig\/([^/]+)/) || ['', ''])[1], { cache: 'no-store' }) }
self.lyewatch.early.catch(() => {})
try { const theme = localStorage.getItem('theme'); if (theme) document.documentElement.dataset.theme = theme } catch {}
