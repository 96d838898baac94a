"""Recomputes the digest of a figure from its exported fields, with nothing but the description of the format.

    python3 figure_digest.py FIGURE.json     checks the `fields` and `digest` of a figure as /api/v1 or a pack gives them
    python3 figure_digest.py --vectors       prints the vectors that the service's own code is held against

The format, number 1: for each field, in order, `N:name=M:value` and a line feed, N and M the lengths of name and value
in bytes of UTF-8, written in decimal. The digest is the SHA-256 of all that (FIPS 180-4), hexadecimal.
"""

import hashlib
import json
import sys


def canonical(fields):
    out = b""
    for name, value in fields:
        name, value = name.encode("utf-8"), value.encode("utf-8")
        out += str(len(name)).encode() + b":" + name + b"=" + str(len(value)).encode() + b":" + value + b"\n"
    return out


def vector(fields):
    body = canonical(fields)
    return {"fields": fields, "bytes": body.hex(), "digest": hashlib.sha256(body).hexdigest()}


VECTORS = [
    [],
    [["format", "1"]],
    [["format", "1"], ["kind", "cell"], ["measure", "average_fps"], ["prior", "0"], ["prior sha256", ""]],
    [["a", "1:b=2:cc\n"], ["", ""], ["pass k: member", "Größe – 1.log"]],
    [["pass k3v9: window", "500000000 60500000000"], ["pass k3v9: ruling", "set aside"]],
    [["pass k3v9: ruling", "counts"], ["pass k3v9: carried over", "earlier, fresh passes count"]],
]


def main(arguments):
    if arguments == ["--vectors"]:
        print(json.dumps([vector(fields) for fields in VECTORS], indent=1, ensure_ascii=True))
        return 0
    with open(arguments[0], encoding="utf-8") as file:
        figure = json.load(file)
    digest = vector(figure["fields"])["digest"]
    same = digest == figure["digest"]
    print(digest, "is what the figure says" if same else "is NOT what the figure says: " + figure["digest"])
    return 0 if same else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
