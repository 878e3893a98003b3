#!/usr/bin/env bash
# Reads each Data Package folder given with the JavaScript library of the
# Frictionless project: descriptor against the published profile, every cell
# against its Table Schema, every foreign key. Exits with 1 if it finds anything.
#
#   .ci/check-package.sh seed some/exported/folder
set -euo pipefail
[ $# -gt 0 ] || { echo "usage: $0 FOLDER..." >&2; exit 2; }
work=$(mktemp -d)
trap 'rm -rf "$work"' EXIT
folders=()
for f in "$@"; do folders+=("$(cd "$f" && pwd)"); done
cd "$work"
npm install --silent --no-audit --no-fund --no-save datapackage@1.1.10 >/dev/null
cat > check.js <<'JS'
const {Package} = require('datapackage');
(async () => {
  let bad = 0;
  for (const folder of process.argv.slice(2)) {
    const p = await Package.load(folder + '/datapackage.json', {basePath: folder});
    for (const e of p.errors) { bad++; console.log(`${folder}: ${e.message}`); }
    let rows = 0;
    for (const r of p.resources) {
      try {
        rows += (await r.read({keyed: true, relations: true})).length;
      } catch (e) {
        for (const x of e.errors && e.errors.length ? e.errors : [e]) { bad++; console.log(`${folder}: ${r.name}: ${x.message}`); }
      }
    }
    console.log(`${folder}: ${p.resources.length} tables, ${rows} rows read`);
    if (rows === 0) bad++;
  }
  process.exit(bad ? 1 : 0);
})();
JS
node check.js "${folders[@]}"
