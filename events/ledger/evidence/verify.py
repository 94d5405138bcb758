#!/usr/bin/env python3
"""Checks a file of evidence of a Latewood ledger, with Python's standard library and the openssl command (3.0 or newer).

    python3 verify.py FILE --key KEY [--seen CHECKPOINT]...

KEY is the ledger's key, NAME+ID+BASE64, or a file that holds it. It must have reached you by another way than FILE: a key
out of the file proves nothing. CHECKPOINT is a checkpoint that you kept, or an earlier file of evidence of this ledger.

Ends with 0 if all is as it should be, 3 if something is wrong, 1 if it could not check. It uses no code of the program
that made the file. The formats: a ZIP archive in one fixed form, C2SP signed-note, tlog-checkpoint and tlog-proof, RFC 6962
hashes, RFC 9162 proofs, Ed25519 (RFC 8032).
"""
import argparse, base64, hashlib, json, os, re, struct, subprocess, sys, tempfile, zlib


class Bad(Exception):
    pass


def must(condition, text):
    if not condition:
        raise Bad(text)


def sha(*parts):
    return hashlib.sha256(b"".join(parts)).digest()


def unbase64(text):
    raw = base64.b64decode(text, validate=True)
    must(base64.b64encode(raw).decode() == text, "base64 that is not strict")
    return raw


def number(text):
    must(re.fullmatch(r"0|[1-9][0-9]{0,15}", text), "%r is not a number" % text)
    return int(text)


# ---- The container: made again from its parts, it must be the same bytes.

def unpack(data):
    parts, at = {}, 0
    while data[at:at + 4] == b"PK\3\4":
        must(len(data) >= at + 30, "the file ends too early")
        size, named = struct.unpack("<I", data[at + 22:at + 26])[0], struct.unpack("<H", data[at + 26:at + 28])[0]
        name = data[at + 30:at + 30 + named].decode("ascii", "replace")
        must(re.fullmatch(r"[A-Za-z0-9_][A-Za-z0-9._-]*(/[A-Za-z0-9_][A-Za-z0-9._-]*)?", name), "a part with the name %r" % name)
        must(not parts or name > max(parts), "the part %s is there twice or stands out of order" % name)
        parts[name] = data[at + 30 + named:at + 30 + named + size]
        must(len(parts) <= 60000, "too many parts")
        at += 30 + named + size
    out, central = b"", b""
    body = bytearray()
    for name, content in parts.items():
        head = struct.pack("<HHHHHIIIHH", 20, 0, 0, 0, 33, zlib.crc32(content), len(content), len(content), len(name), 0)
        central += b"PK\1\2" + struct.pack("<H", 20) + head + struct.pack("<HHHII", 0, 0, 0, 0, len(body)) + name.encode()
        body += b"PK\3\4" + head + name.encode() + content
    out = bytes(body) + central + b"PK\5\6" + struct.pack("<HHHHIIH", 0, 0, len(parts), len(parts), len(central), len(body), 0)
    must(parts and out == data, "the file is not laid out as it was made: packed anew, damaged, or no file of evidence")
    return parts


# ---- Signatures.

def parse_key(text):
    name, key_id, b64 = text.strip().split("+", 2)
    raw = unbase64(b64)
    must(len(raw) == 33 and raw[0] == 1, "not the key of a ledger")
    must(sha(name.encode() + b"\n" + raw)[:4].hex() == key_id, "the key was copied wrongly: its id does not fit")
    return name, bytes.fromhex(key_id), raw[1:]


def signed(message, signature, public):
    pem = b"-----BEGIN PUBLIC KEY-----\n" + base64.b64encode(bytes.fromhex("302a300506032b6570032100") + public) + b"\n-----END PUBLIC KEY-----\n"
    with tempfile.TemporaryDirectory() as folder:
        names = [os.path.join(folder, n) for n in ("key", "message", "signature")]
        for path, content in zip(names, (pem, message, signature)):
            with open(path, "wb") as f:
                f.write(content)
        run = subprocess.run(["openssl", "pkeyutl", "-verify", "-pubin", "-inkey", names[0], "-rawin", "-in", names[1], "-sigfile", names[2]],
                             stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        return run.returncode == 0


def open_note(what, note, keys, strict=False):
    """The text of a note that one of the keys signed. strict: and nobody else."""
    at = note.rfind(b"\n\n")
    must(at >= 0 and note.endswith(b"\n"), "%s is no signed note" % what)
    text, lines, good = note[:at + 1], note[at + 2:-1].decode("utf-8").split("\n"), 0
    must(all(c >= 32 or c == 10 for c in note), "%s holds control characters" % what)
    for line in lines:
        dash, name, b64 = line.split(" ")
        raw = unbase64(b64)
        must(dash == "\u2014" and name and len(raw) > 4, "%s: a line that is no signature" % what)
        for key in keys:
            if (name, raw[:4]) == key[:2]:
                must(signed(text, raw[4:], key[2]), "%s was changed after it was signed" % what)
                good += 1
    must(good > 0, "%s is not signed with your key, but by: %s" % (what, ", ".join(l.split(" ")[1] for l in lines)))
    must(not strict or good == len(lines), "%s bears signatures that you cannot check" % what)
    return text.decode("utf-8")


def open_checkpoint(what, note, keys):
    lines = open_note(what, note, keys).split("\n")
    must(len(lines) >= 4 and lines[0] == keys[0][0], "%s is of another ledger" % what)
    root = unbase64(lines[2])
    must(len(root) == 32, "%s has no root" % what)
    return number(lines[1]), root


# ---- Merkle proofs.

def included(index, size, leaf, path):  # RFC 9162, section 2.1.3.2
    must(0 <= index < size, "an index outside the tree")
    fn, sn, r = index, size - 1, leaf
    for p in path:
        must(sn, "a path that is too long")
        if fn & 1 or fn == sn:
            r = sha(b"\1", p, r)
            while fn and not fn & 1:
                fn, sn = fn >> 1, sn >> 1
        else:
            r = sha(b"\1", r, p)
        fn, sn = fn >> 1, sn >> 1
    must(sn == 0, "a path that is too short")
    return r


def consistent(old, new, path):  # RFC 9162, section 2.1.4.2
    (first, first_root), (second, second_root) = old, new
    must(0 < first <= second, "sizes that cannot be compared")
    if first == second:
        return first_root == second_root and not path
    if first & (first - 1) == 0:
        path = [first_root] + path
    if not path:
        return False
    fn, sn = first - 1, second - 1
    while fn & 1:
        fn, sn = fn >> 1, sn >> 1
    fr = sr = path[0]
    for c in path[1:]:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            fr, sr = sha(b"\1", c, fr), sha(b"\1", c, sr)
            while fn and not fn & 1:
                fn, sn = fn >> 1, sn >> 1
        else:
            sr = sha(b"\1", sr, c)
        fn, sn = fn >> 1, sn >> 1
    return sn == 0 and fr == first_root and sr == second_root


# ---- Records, chains, and what belongs to a subject.

def once(pairs):
    out = dict(pairs)
    must(len(out) == len(pairs), "a record with a name that stands twice")
    return out


class Record:
    def __init__(self, place, body):
        v = json.loads(body.decode("utf-8"), object_pairs_hook=once)
        self.place, self.body, self.leaf, self.id, self.data = place, body, sha(b"\0", body), v["id"], v["data"]
        self.kind, self.recorded = v["type"].rsplit(".v", 1)[0], v["recordedtime"]
        self.links, before = {}, ""
        for part in v["chains"].split(", "):
            chain, at, prev = part.split(" ")
            must(chain > before and (prev == "-") == (number(at) == 1) and number(at) > 0, "record %d: chains" % place)
            self.links[chain], before = (number(at), b"\0" * 32 if prev == "-" else unbase64(prev)), chain
        follows = self.kind in ("record.corrected", "record.withdrawn")
        self.about = self.data["record"] if follows else self.id
        self.says, self.version = self.kind, self.data
        if self.kind == "record.corrected":
            self.says, self.version = self.data["type"].rsplit(".v", 1)[0], self.data["data"]
        elif follows:
            self.says, self.version = "", {}


def escaped(code):
    return "".join(chr(c) if re.match(rb"[A-Za-z0-9._-]", bytes([c])) else "%%%02X" % c for c in code.encode("utf-8"))


def listed(value):
    return value if isinstance(value, list) else [] if value is None else [value]


def walk(subject, records):
    """The chains that evidence for a subject must hold, found from the records that are there."""
    by_id = {r.id: r for r in records}
    kind, _, name = subject.split(" ")[0].partition("/")
    queue = [c + name for c in (("growth/", "inputs/", "picks/") if kind == "block" else (kind + "/",))]
    chains, singles = [], set()

    def said(of):
        return [r for r in records if r.about == of and r.id != of]

    def single(ids, where):
        for i in ids:
            if not i or i in singles:
                continue
            singles.add(i)
            must(i in by_id, "record %d names the record %s, which is not in the file" % (where.place, i))
            for r in [by_id[i]] + said(i):
                if r.says == "fruit.picked":
                    queue.extend("inputs/" + escaped(w["block"]) for w in listed(r.version["where"]))
                elif r.says == "fruit.received":
                    queue.append("delivery/" + escaped(r.version["delivery"]))

    while queue:
        chain = queue.pop(0)
        if chain in chains:
            continue
        chains.append(chain)
        cls, _, name = chain.partition("/")
        here = [r for r in records if chain in r.links]
        if cls == "inputs":
            for r in [r for r in records if r.says == "block.redrawn" and any(escaped(b["block"]) == name for b in r.version["into"])]:
                here += [r] + said(r.about)
        for r in here:
            v, origin = r.version, cls in ("lot", "delivery") and escaped(str(r.version.get(cls, ""))) == name
            if r.says == "lot.packed" and origin:
                for i in v["inputs"]:
                    single([i.get("versionSeen"), i.get("pick"), i.get("received")], r)
            elif r.says == "lot.repacked" and origin:
                queue.extend("lot/" + escaped(i["lot"]) for i in v["inputs"])
            elif r.says == "fruit.delivered" and origin:
                for i in v["picks"]:
                    single([i.get("pick")], r)
            elif r.says.startswith("spray.") and cls == "spray":
                if r.says in ("spray.planned", "spray.begun", "spray.applied"):
                    queue.append("spray/" + escaped(r.about))
                queue.extend("spray/" + escaped(i) for f in ("plan", "begun") for i in listed(v.get(f)))
            elif r.says == "block.redrawn" and cls == "inputs":
                queue.extend("inputs/" + escaped(b) for b in listed(v["from"]))
            if cls != "picks":
                queue.extend("label/" + escaped(m["label"]) for m in v.get("mix", []) if m.get("label"))
                if r.says == "lot.treated" and v.get("label"):
                    queue.append("label/" + escaped(v["label"]))
    return chains


# ---- The check.

KNOWN = re.compile(r"README\.txt|checkpoint|checkpoint\.tsr|consistency/[0-9]{10}|first-page\.html|first-page\.pdf|ledger\.vkey|manifest"
                   r"|names\.json|proofs/[0-9]{10}\.tlog-proof|records/[0-9]{10}\.json|verify\.py")


def check(data, keys, seen):
    parts = unpack(data)
    for name in parts:
        must(KNOWN.fullmatch(name), "the part %r is none that a file of evidence has" % name)
    for name in ("README.txt", "checkpoint", "first-page.html", "ledger.vkey", "manifest", "verify.py"):
        must(name in parts, "the part %s is missing" % name)
    checkpoint = parts["checkpoint"]
    size, root = open_checkpoint("the checkpoint", checkpoint, keys)
    head = open_note("the manifest", parts["manifest"], keys, strict=True).split("\n")
    must(head[0] == "latewood-evidence/v1" and head[1] == "origin " + keys[0][0], "this is no evidence of your ledger")
    must(head[4] == "size %d" % size and head[5] == "root " + base64.b64encode(root).decode(), "the manifest is over another checkpoint")
    subject, (given, given_id) = head[2][len("for "):], head[3][len("given "):].split(" ")
    lines, folders = head[:6], {}
    for name, content in parts.items():
        line = "%s %d %s\n" % (hashlib.sha256(content).hexdigest(), len(content), name)
        if "/" in name:
            folder = name.split("/")[0]
            if folder not in folders:
                folders[folder] = [len(lines), 0, hashlib.sha256()]
                lines.append("")
            folders[folder][1] += 1
            folders[folder][2].update(line.encode())
            lines[folders[folder][0]] = "folder %s %d %s" % (folder, folders[folder][1], folders[folder][2].hexdigest())
        elif name != "manifest":
            lines.append("file %s %d %s" % (name, len(content), hashlib.sha256(content).hexdigest()))
    for line in head[6:-1]:
        must(line in lines, "%s is not as it was when the manifest was signed" % line.split(" ")[1])
    must(lines + [""] == head, "there are parts that the manifest does not list")
    must(parse_key(parts["ledger.vkey"].decode()) in keys, "the key in the file is not yours")

    records = []
    for name in parts:
        if not name.startswith("records/"):
            continue
        place = int(name[8:18])
        r = Record(place, parts[name])
        body = parts.get("proofs/%010d.tlog-proof" % place, b"")
        text, _, cp = body.partition(b"\n\n")
        proof = text.decode().split("\n")
        must(proof[:2] == ["c2sp.org/tlog-proof@v1", "index %d" % (place - 1)], "the proof of record %d is missing or of another" % place)
        must(cp == checkpoint, "the proof of record %d was made for another checkpoint" % place)
        must(included(place - 1, size, r.leaf, [unbase64(h) for h in proof[2:]]) == root, "record %d does not stand in the signed ledger" % place)
        must(not records or r.recorded >= records[-1].recorded, "record %d: time goes back" % place)
        records.append(r)
    must(len(records) == sum(name.startswith("proofs/") for name in parts), "there are proofs without records")
    must(len({r.id for r in records}) == len(records), "two records have one id")

    last = records[-1] if records else None
    must(last and last.place == int(given) and last.id == given_id and last.kind == "evidence.given", "the record that ends the chains is missing")
    of = last.data["for"]
    classes = [c for c in ("lot", "delivery", "spray", "block") if c in of]
    must(len(classes) == 1, "evidence for nothing, or for two things")
    must(subject == classes[0] + "/" + escaped(of[classes[0]]) + (" " + of["season"] if classes == ["block"] else ""), "the evidence was given for something else")
    heads = {h["chain"]: h for h in last.data["heads"]}
    for chain in walk(subject, records):
        must(chain in heads, "the end of the chain %s is not shown" % chain)
        at, leaf, leaves = 0, b"\0" * 32, [b"\0" * 32]
        for r in records:
            if chain in r.links:
                must(r.links[chain][0] == at + 1, "the record at place %d of the chain %s is missing" % (at + 1, chain))
                must(r.links[chain][1] == leaf, "the chain %s is broken at its place %d" % (chain, at + 1))
                at, leaf = at + 1, r.leaf
                leaves.append(leaf)
        must(chain in last.links and last.links[chain][0] == at, "the end of the chain %s is missing" % chain)
        named = heads[chain]["place"]
        must(0 <= named < at and unbase64(heads[chain]["leaf"]) == leaves[named], "the evidence names another end of the chain %s" % chain)

    names = json.loads(parts["names.json"].decode("utf-8")) if "names.json" in parts else None
    must(names is None or isinstance(names, list) and names, "names.json holds no names")
    for n in names or []:
        claim = json.dumps({"certificate": n["certificate"], "name": n["name"]}, separators=(",", ":"), ensure_ascii=False)
        salt = unbase64(n["salt"])
        must(len(salt) == 32 and sha(salt, claim.encode("utf-8")) == unbase64(n["commitment"]), "the name %s does not fit its commitment" % n["name"])
        mark = ('"code":"%s","commitment":"%s"' % (n["pseudonym"], n["commitment"])).encode()
        must(any(mark in r.body for r in records), "no record carries the commitment to the name %s" % n["name"])

    for path in seen:
        with open(path, "rb") as f:
            old = f.read()
        if old[:2] == b"PK":
            old = unpack(old)["checkpoint"]
        old = open_checkpoint("the checkpoint that you saw", old, keys)
        must(old[0] <= size, "the checkpoint (size %d) is older than one that you saw (size %d)" % (size, old[0]))
        text = parts.get("consistency/%010d" % old[0], b"")
        if old[0] == size:
            must(old[1] == root, "two histories were signed: keep both files, they prove it")
            continue
        must(text, "the file does not show that the ledger continues the one that you saw (size %d)" % old[0])
        lines = text.decode().split("\n")
        must(lines[:3] == ["latewood-consistency/v1", "from %d" % old[0], "to %d" % size] and lines[-1] == "", "consistency/%010d" % old[0])
        must(consistent(old, (size, root), [unbase64(h) for h in lines[3:-1]]), "two histories were signed: keep both files, they prove it")
    # The signature of a time stamp is for openssl ts -verify.
    must(hashlib.sha256(checkpoint).digest() in parts.get("checkpoint.tsr", hashlib.sha256(checkpoint).digest()), "the time stamp is over something else")
    return subject, last, len(records), size


def main():
    p = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    p.add_argument("file")
    p.add_argument("--key", required=True, help="NAME+ID+BASE64 or a file that holds it; not out of the file that is checked")
    p.add_argument("--seen", action="append", default=[], help="a checkpoint that you kept, or an earlier file of evidence")
    a = p.parse_args()
    try:
        text = a.key
        if os.path.exists(text):
            with open(text, encoding="utf-8") as f:
                text = f.read()
        keys = [parse_key(line) for line in text.split("\n") if line.strip()]
        must(keys and len({k[0] for k in keys}) == 1, "the keys must be of one ledger")
        with open(a.file, "rb") as f:
            data = f.read()
        subprocess.run(["openssl", "version"], check=True, stdout=subprocess.DEVNULL)
    except (OSError, ValueError, Bad, subprocess.SubprocessError) as e:
        print("could not check: %s" % e, file=sys.stderr)
        return 1
    try:
        subject, last, n, size = check(data, keys, a.seen)
    except Bad as e:
        print("WRONG: %s." % e)
        return 3
    except (ValueError, KeyError, TypeError, IndexError, AttributeError, OSError) as e:
        print("WRONG: something is not written as it must be (%s: %s)." % (type(e).__name__, e))
        return 3
    print("Nothing that was recorded for %s up to place %d of the ledger (%s) is missing or altered since its seal; whether everything "
          "that happened was recorded, and truly, this cannot show." % (subject, last.place, last.recorded))
    print("%d records of %d, signed by %s." % (n, size, ", ".join(k[0] + "+" + k[1].hex() for k in keys)))
    return 0


if __name__ == "__main__":
    sys.exit(main())
