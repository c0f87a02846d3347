#!/usr/bin/env bash
# package.sh sbom|all PROGRAM VERSION: what is handed to a site, in dist/ or $DIST - a Debian package, a tarball with the same files, the
# SBOM, the licence texts of the modules, SHA256SUMS. The same program and commit give the same bytes.
set -euo pipefail
export LC_ALL=C TZ=UTC
what=$1 program=$(readlink -f "$2") version=$3
cd "$(dirname "$(readlink -f "${BASH_SOURCE[0]}")")/.."
dist=${DIST:-dist}
arch=$(go env GOARCH)
: "${SOURCE_DATE_EPOCH:=$(git log -1 --format=%ct 2>/dev/null || echo 0)}"
export SOURCE_DATE_EPOCH
umask 022
mkdir -p "$dist"
dist=$(readlink -f "$dist")

go run ./scripts/notice -sbom "$dist/afterbeam.cdx.json" -program "$program" -version "$version"
[ "$what" = all ] || exit 0
go run ./scripts/notice -texts "$dist/LICENCES.txt"
chmod 644 "$dist/LICENCES.txt"

stage=$(mktemp -d)
trap 'rm -rf "$stage"' EXIT
# A commit's name is no version that dpkg can order: its time goes before it.
case $version in
	v[0-9]*) debian=${version#v} ;;
	[0-9]*.[0-9]*) debian=$version ;;
	*) debian=0~$(date -d "@$SOURCE_DATE_EPOCH" +%Y%m%d%H%M%S).$version ;;
esac
debian=${debian//-/+}
changelog() {
	printf 'afterbeam (%s) unstable; urgency=medium\n\n  * Built from %s.\n\n -- afterbeam <afterbeam@localhost>  %s\n' \
		"$debian" "$version" "$(date -R -d "@$SOURCE_DATE_EPOCH")"
}

# The manual page is what the program itself says.
manual() {
	escape() { sed -e 's/\\/\\e/g' -e 's/-/\\-/g' -e "s/^\\([.']\\)/\\\\\\&\\1/"; }
	printf '.TH AFTERBEAM 1 "%s"\n.SH NAME\nafterbeam \\- radiation dose of fluoroscopy\\-guided procedures\n.SH DESCRIPTION\n.nf\n' "$(date -d "@$SOURCE_DATE_EPOCH" +%F)"
	"$program" --help | escape
	printf '.fi\n.SH COMMANDS\n'
	"$program" --help | sed -n 's/^  \([a-z][a-z ]*[a-z]\)\( [[<].*\)\{0,1\}$/\1/p' | while read -r command; do
		printf '.SS afterbeam %s\n.nf\n' "$command"
		# shellcheck disable=SC2086 # a command may be of two words
		"$program" $command --help | escape
		printf '.fi\n'
	done
	printf '.SH FILES\n.TP\n/etc/afterbeam/afterbeam.toml\nSettings of the service.\n.TP\n/var/lib/afterbeam\nThe store: reports and database. Removing the package leaves it.\n'
}

root=$stage/root
doc=$root/usr/share/doc/afterbeam
install -D -m 755 "$program" "$root/usr/bin/afterbeam"
install -D -m 644 scripts/afterbeam.service "$root/usr/lib/systemd/system/afterbeam.service"
install -D -m 644 scripts/afterbeam.toml "$root/etc/afterbeam/afterbeam.toml"
install -D -m 644 scripts/debian/copyright "$doc/copyright"
install -m 644 NOTICE README.md api/openapi.yaml api/conformance.md api/operations.md "$dist/LICENCES.txt" "$dist/afterbeam.cdx.json" "$doc"
gzip -9n "$doc/LICENCES.txt"
changelog | gzip -9n >"$doc/changelog.gz"
install -d "$root/usr/share/man/man1"
manual | gzip -9n >"$root/usr/share/man/man1/afterbeam.1.gz"

install -d "$root/DEBIAN"
sed -e "s/@VERSION@/$debian/" -e "s/@ARCH@/$arch/" -e "s/@SIZE@/$(du -sk --apparent-size "$root" | cut -f1)/" scripts/debian/control >"$root/DEBIAN/control"
echo /etc/afterbeam/afterbeam.toml >"$root/DEBIAN/conffiles"
install -m 755 scripts/debian/postinst scripts/debian/prerm scripts/debian/postrm "$root/DEBIAN"
(cd "$root" && find . -type f ! -path './DEBIAN/*' ! -path './etc/*' -printf '%P\0' | sort -z | xargs -0 md5sum) >"$root/DEBIAN/md5sums"
chmod 644 "$root"/DEBIAN/{control,conffiles,md5sums}
find "$root" -exec touch --no-dereference --date="@$SOURCE_DATE_EPOCH" {} +
rm -f "$dist"/afterbeam_*.deb "$dist"/afterbeam-*.tar.gz
dpkg-deb --root-owner-group -Zgzip -z6 --build "$root" "$dist/afterbeam_${debian}_$arch.deb" >/dev/null

name=afterbeam-${debian}-linux-$arch
mkdir "$stage/$name"
cp "$program" "$stage/$name/afterbeam"
cp -r "$doc"/. scripts/afterbeam.service scripts/afterbeam.toml LICENSE "$stage/$name"
tar --create --directory "$stage" --sort=name --owner=0 --group=0 --numeric-owner --mode=u+rwX,go+rX,go-w --mtime="@$SOURCE_DATE_EPOCH" --format=ustar "$name" |
	gzip -6n >"$dist/$name.tar.gz"
(cd "$dist" && sha256sum -- *.deb *.tar.gz afterbeam.cdx.json LICENCES.txt >SHA256SUMS)
cat "$dist/SHA256SUMS"
