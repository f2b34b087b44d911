#!/usr/bin/env bash
# A fresh machine: a new Debian root with nothing but Rust, Python 3 and Debian's packages, in which both commands of the README are run and timed.
# A green run on a furnished machine can hide a missing install step; run this before each release (as root; about an hour, 10 GB of disk).
#
#   tests/fresh.sh [FOLDER]      the root is made in FOLDER (a new temporary one unless given) and taken away at the end
#
# Needs debootstrap (installed if missing) and the package registries. Rust is copied from this machine: a toolchain is not what is tested.
set -euo pipefail
cd "$(dirname "$0")/.."

release="${DEBIAN_RELEASE:-$(. /etc/os-release && echo "$VERSION_CODENAME")}"
root="${1:-$(mktemp -d /var/tmp/packdrift-fresh-XXXXXX)}"
[ "$(id -u)" = 0 ] || { echo "run as root: a new root file system is made and mounted"; exit 2; }
command -v debootstrap >/dev/null || { apt-get update -q && apt-get install -y -q --no-install-recommends debootstrap; }

mounts=()
leave() {
  local at
  for at in "${mounts[@]}"; do umount -l "$at" || true; done
  # Never below a mount that could not be taken away.
  if ! grep -q " $root/" /proc/mounts; then rm -rf --one-file-system "$root"; fi
}
trap leave EXIT

mirror="$(awk '$1 == "deb" { for (i = 2; i <= NF; i++) if ($i ~ /^https?:/) { print $i; exit } }' /etc/apt/sources.list /etc/apt/sources.list.d/*.list 2>/dev/null || true)"
[ -n "$mirror" ] || mirror="$(awk '$1 == "URIs:" { print $2; exit }' /etc/apt/sources.list.d/*.sources 2>/dev/null || true)"
echo "== a root of Debian $release"
debootstrap --variant=minbase --include=ca-certificates,build-essential,python3,python3-venv,git "$release" "$root" ${mirror:+"$mirror"} >"$root.log" 2>&1 \
  || { tail -n 20 "$root.log"; exit 1; }
for at in proc sys dev; do mount --rbind "/$at" "$root/$at"; mounts=("$root/$at" "${mounts[@]}"); done

# How this machine reaches the registries, and nothing else of it.
cp -a /etc/apt/. "$root/etc/apt/"
cp /etc/resolv.conf /etc/hosts "$root/etc/" 2>/dev/null || true
cp -a /usr/local/share/ca-certificates "$root/usr/local/share/" 2>/dev/null || true
cp -a /etc/ssl/certs/. "$root/etc/ssl/certs/" 2>/dev/null || true
# Further files of this machine's clients, by name: FRESH_COPY="/etc/pip.conf /etc/npmrc".
for file in ${FRESH_COPY:-/etc/pip.conf}; do
  if [ -e "$file" ]; then mkdir -p "$root$(dirname "$file")"; cp -a "$file" "$root$file"; fi
done

# Rust: the compiler and cargo of this machine, with cargo's settings but none of its downloads.
sysroot="$(rustc --print sysroot)"
mkdir -p "$root/opt/rust" "$root/root/.cargo"
cp -a "$sysroot/." "$root/opt/rust/"
for file in config config.toml; do
  if [ -e "${CARGO_HOME:-$HOME/.cargo}/$file" ]; then cp "${CARGO_HOME:-$HOME/.cargo}/$file" "$root/root/.cargo/"; fi
done

# The repository as it is committed.
git clone -q --no-hardlinks . "$root/root/packdrift"

inside() {
  local begin=$SECONDS
  echo "== $*"
  if env -i HOME=/root PATH=/opt/rust/bin:/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin LANG=C.UTF-8 \
    $(env | grep -iE '^(https?_proxy|no_proxy|ssl_cert_file|requests_ca_bundle|cargo_http_cainfo|node_extra_ca_certs|pip_[a-z_]*|npm_config_[a-z_]*|cargo_[a-z_]*registr[a-z_]*)=' || true) \
    chroot "$root" sh -c "cd /root/packdrift && $*"; then
    echo "ok      $((SECONDS - begin)) s  $*"
  else
    echo "FAILED  $((SECONDS - begin)) s  $*"
    return 1
  fi
}

inside "cargo run --release -- tour"
inside "test -s packdrift-tour/report.html && test -s packdrift-tour/result.json"
inside "./test.sh"
