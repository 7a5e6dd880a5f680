#!/bin/sh
# Fetch Debian's 32-bit MicroPython into the folder $1, for tests: its objects have the size of those on a board.
#
# Nothing is installed: apt works in a root of its own below that folder, with this system's mirror and Debian's keys, and
# what it fetches is only unpacked there. $1/micropython then starts it with its own loader and libraries.
set -eu

suites="forky sid" # the first Debian that has it for i386
keys=/usr/share/keyrings/debian-archive-keyring.gpg

fail() {
  echo "$0: $1" >&2
  exit 1
}

[ $# = 1 ] || fail "name the folder it is to go into"
for tool in apt-get dpkg dpkg-deb; do
  command -v $tool >/dev/null || fail "there is no $tool here; this needs Debian"
done
case $(dpkg --print-architecture) in
  amd64 | i386) ;;
  *) fail "this machine cannot run programs for i386" ;;
esac
[ -r $keys ] || fail "Debian's keys are missing: apt-get install debian-archive-keyring"
mirror=$(apt-get indextargets --format '$(REPO_URI)' 'Created-By: Packages' 'Origin: Debian' 'Label: Debian' | head -n 1)
[ -n "$mirror" ] || fail "no Debian mirror is set up for apt"

mkdir -p "$1"
folder=$(cd "$1" && pwd)
apt=$folder/apt
rm -rf "$folder/usr" "$folder/etc" "$apt" "$folder/micropython"
trap 'rm -rf "$apt"' EXIT
mkdir -p "$apt/lists/partial" "$apt/archives/partial" "$apt/none"
: >"$apt/status"
cat >"$apt/conf" <<END
#clear APT::Update::Post-Invoke;
#clear APT::Update::Post-Invoke-Success;
#clear APT::Architectures;
APT::Architecture "i386";
APT::Architectures { "i386"; };
APT::Install-Recommends "false";
Acquire::Languages "none";
Dir::State "$apt";
Dir::State::status "$apt/status";
Dir::Cache "$apt";
Dir::Etc::sourcelist "$apt/sources.list";
Dir::Etc::sourceparts "$apt/none";
Dir::Etc::preferences "/dev/null";
Dir::Etc::preferencesparts "$apt/none";
END

found=
for suite in $suites; do
  echo "deb [arch=i386 signed-by=$keys] $mirror $suite main" >"$apt/sources.list"
  if apt-get -c "$apt/conf" -qq update &&
    apt-get -c "$apt/conf" -qq --yes --download-only install micropython >/dev/null; then
    found=$suite
    break
  fi
done
[ -n "$found" ] || fail "micropython for i386 could not be fetched from the Debian suites $suites"
for package in "$apt"/archives/*.deb; do
  dpkg-deb -x "$package" "$folder"
done

cat >"$folder/run" <<'END'
#!/bin/sh
here=${0%/*}
libraries=$here/usr/lib/i386-linux-gnu
exec "$libraries/ld-linux.so.2" --library-path "$libraries" "$here/usr/bin/micropython" "$@"
END
chmod +x "$folder/run"
"$folder/run" -c 'import sys; sys.exit(sys.maxsize >> 31)' || fail "programs for i386 do not run here"
mv "$folder/run" "$folder/micropython"
