#!/bin/sh
# Puts Lyewatch on this machine for good, from this folder: program, users, units. Starts nothing, overwrites no settings.
#   sudo deploy/install.sh                a rig's Pi: guard, link, page
#   sudo deploy/install.sh notify         elsewhere: who tells people when the rig falls silent
set -eu
root=$(cd "$(dirname "$0")/.." && pwd)
. "$root/deploy/python.sh"
to=${DESTDIR:-} # a folder to install under instead of /, to look at

parts=${*:-guard link page}
for part in $parts; do
    [ -f "$root/deploy/systemd/lyewatch-$part.service" ] || give_up "there is no part '$part'; known: guard link page notify"
done
[ "$(id -u)" = 0 ] || [ -n "$to" ] || give_up "installing needs root: sudo deploy/install.sh"

extras=plot
case " $parts " in *" guard "*) extras=$extras,pi ;; esac
case " $parts " in
*" page "*) extras=$extras,page ;;
*) export LYEWATCH_NO_DASHBOARD=1 ;; # no page, so none is built
esac
case " $parts " in *" notify "*) extras=$extras,notify ;; esac

mkdir -p "$to/etc/lyewatch" "$to/etc/systemd/system" "$to/etc/sysusers.d" "$to/usr/local/bin"
python=$(find_python) || exit 2
[ -x "$to/opt/lyewatch/bin/python" ] || "$python" -m venv "$to/opt/lyewatch" ||
    give_up "this Python cannot make virtual environments: sudo apt install python3-venv"
"$to/opt/lyewatch/bin/python" -m pip install --quiet --disable-pip-version-check --upgrade --prefer-binary "$root[$extras]" ||
    give_up "packages could not be installed; what pip said stands above"
ln -sf /opt/lyewatch/bin/lyewatch "$to/usr/local/bin/lyewatch"
cp "$root/deploy/systemd/lyewatch.sysusers" "$to/etc/sysusers.d/lyewatch.conf"
for part in $parts; do cp "$root/deploy/systemd/lyewatch-$part.service" "$to/etc/systemd/system/"; done
[ -n "$to" ] || { systemd-sysusers lyewatch.conf && systemctl daemon-reload; }

say "Installed: $parts. Settings go into /etc/lyewatch; README.md, 'On the Pi', says which. Then, one after another:"
for part in $parts; do say "  sudo systemctl enable --now lyewatch-$part"; done
