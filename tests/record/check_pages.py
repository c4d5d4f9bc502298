#!/usr/bin/python3
"""Other people's programs look at the pages: qpdf, and pdffonts, pdfinfo, pdftotext of poppler. check_pages.py WRITE_SAMPLES FOLDER"""
import os
import shutil
import subprocess
import sys


def run(*words):
    done = subprocess.run(words, capture_output=True, text=True, timeout=300)
    assert done.returncode == 0, f"{' '.join(words)}: {done.returncode}\n{done.stdout}\n{done.stderr}"
    return done.stdout


def check(folder, name):
    file = os.path.join(folder, name)
    assert "No syntax or stream encoding errors found" in run("qpdf", "--check", file), f"{name}: qpdf finds errors"
    fonts = run("pdffonts", file).splitlines()[2:]
    assert fonts, f"{name}: no fonts"
    for font in fonts:
        assert font.split()[-5] == "yes", f"{name}: a font is not embedded: {font}"
        assert font.split()[-3] == "yes", f"{name}: a font has no way back to text: {font}"
    facts = dict(line.split(":", 1) for line in run("pdfinfo", file).splitlines() if ":" in line)
    assert facts["Tagged"].strip() == "yes", f"{name}: not tagged"
    assert facts["Title"].strip().startswith("Soak test of"), f"{name}: no title"
    assert "counted" in facts["Subject"], f"{name}: no subject"
    assert facts["Keywords"].strip(), f"{name}: no keywords"
    size = facts["Page size"]
    assert ("A4" in size) == ("-a4" in name) and ("letter" in size) == ("-letter" in name), f"{name}: {size}"
    structure = run("pdfinfo", "-struct", file)
    for tag in ("Document", "H1", "H2", "P", "Table", "TR", "TH", "TD", "Figure"):
        assert any(line.split()[:1] == [tag] for line in structure.splitlines()), f"{name}: no tag {tag}"
    sides = int(facts["Pages"])
    for side in range(1, sides + 1):
        text = run("pdftotext", "-layout", "-f", str(side), "-l", str(side), file, "-")
        assert f"side {side} of {sides}" in text, f"{name}: side {side} does not say which it is"
        if side == 1:
            assert "it does not promise a life" in text, f"{name}: the buyer's part is longer than one side"
            assert "Not measured" in text and "counted of" in text, f"{name}: the first side leaves something out"
    # Nothing lies outside the paper: every word of every side has its box within it.
    width, height = (float(size.split()[0]), float(size.split()[2]))
    for line in run("pdftotext", "-bbox", file, "-").splitlines():
        if "<word" not in line:
            continue
        box = {key: float(line.split(f'{key}="')[1].split('"')[0]) for key in ("xMin", "yMin", "xMax", "yMax")}
        assert box["xMin"] >= 0 and box["yMin"] >= 0 and box["xMax"] <= width and box["yMax"] <= height, f"{name}: outside the paper: {line.strip()}"


def main():
    program, folder = sys.argv[1:]
    for each in ("first", "second"):
        shutil.rmtree(os.path.join(folder, each), ignore_errors=True)
        run(program, os.path.join(folder, each))
    first, second = os.path.join(folder, "first"), os.path.join(folder, "second")
    names = sorted(os.listdir(first))
    assert len([name for name in names if name.endswith(".pdf")]) == 14, names
    for name in names:
        with open(os.path.join(first, name), "rb") as a, open(os.path.join(second, name), "rb") as b:
            assert a.read() == b.read(), f"{name} is not the same when it is made twice"
        if name.endswith(".pdf"):
            check(first, name)
    print(f"{len(names)} files, the same when made twice; every PDF is clean, tagged, and has its fonts inside")


if __name__ == "__main__":
    main()
