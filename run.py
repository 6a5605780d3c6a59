"""The first step. Makes the environment beside this file and starts the demo; standard library only.

    python3 run.py              set up, then the demo with its dashboard
    python3 run.py WORDS...     set up, then `pourcall WORDS...`
    python3 run.py --test       set up with the test tools, then the quick tests
                                --long: the nightly tier too; --checks: style, types and import rules first

Nothing outside this folder is touched. An unfinished environment is made again from the start.
"""

import hashlib
import os
import shutil
import subprocess
import sys

HERE = os.path.dirname(os.path.abspath(__file__))
VENV = os.path.join(HERE, ".venv")
OLDEST = (3, 11)


def fail(sentence):
    sys.stderr.write("pourcall: " + sentence + "\n")
    sys.exit(1)


def check_python():
    if sys.version_info < OLDEST:
        fail(
            "this needs Python %d.%d or newer; this is %d.%d. Install a newer one and run it as python3.%d run.py"
            % (OLDEST + tuple(sys.version_info[:2]) + (OLDEST[1],))
        )


def venv_python():
    return os.path.join(VENV, "Scripts", "python.exe") if os.name == "nt" else os.path.join(VENV, "bin", "python")


def stamp(lock):
    """What the environment was made from: another lock file, project or Python makes it anew."""
    digest = hashlib.sha256(("%d.%d" % sys.version_info[:2]).encode())
    for name in (lock, "pyproject.toml"):
        with open(os.path.join(HERE, name), "rb") as file:
            digest.update(file.read())
    return digest.hexdigest()


def quietly(words):
    """Run a step; show what it said only where it failed."""
    done = subprocess.run(words, cwd=HERE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    if done.returncode:
        sys.stderr.write(done.stdout.decode(errors="replace")[-4000:] + "\n")
        fail(
            "setting up failed at: " + " ".join(os.path.basename(w) for w in words[:4]) + ". Nothing half made is kept"
        )


def make(lock):
    """A whole environment or none: it is built beside and takes its place when everything is in it."""
    mark = os.path.join(VENV, "made-from")
    wanted = stamp(lock)
    try:
        with open(mark, encoding="ascii") as file:
            made = file.read().split()
    except OSError:
        made = []
    if made[:1] == [wanted] and os.path.exists(venv_python()):
        return
    sys.stderr.write("Setting up, once; this takes a minute ...\n")
    shutil.rmtree(VENV, ignore_errors=True)
    uv = shutil.which("uv")
    try:
        if uv:
            quietly([uv, "venv", "--quiet", "--python", sys.executable, VENV])
            quietly([uv, "pip", "install", "--quiet", "--python", venv_python(), "--require-hashes", "-r", lock])
            quietly([uv, "pip", "install", "--quiet", "--python", venv_python(), "--no-deps", "-e", "."])
        else:
            try:
                from ensurepip import version  # a bare `import ensurepip` succeeds on an empty folder

                version()
                import venv
            except ImportError:
                fail("this Python has no venv module. On Debian or Ubuntu: sudo apt install python3-venv")
            venv.create(VENV, with_pip=True)
            pip = [venv_python(), "-m", "pip", "--quiet", "--disable-pip-version-check", "install"]
            quietly(pip + ["--require-hashes", "-r", lock])
            quietly(pip + ["--no-deps", "-e", "."])
    except BaseException:
        shutil.rmtree(VENV, ignore_errors=True)
        raise
    with open(mark, "w", encoding="ascii") as file:
        file.write(wanted + "\n")


def main(words):
    check_python()
    testing = words[:1] == ["--test"]
    make("requirements-dev.txt" if testing else "requirements.txt" if not _has_dev() else "requirements-dev.txt")
    if testing:
        rest = [word for word in words[1:] if word not in ("--long", "--checks")]
        tier = ["-m", ""] if "--long" in words else []
        if "--checks" in words:
            checks()
        if not any(word.startswith("-n") for word in rest):
            tier += ["-n", "auto"]
        command = [venv_python(), "-m", "pytest"] + tier + rest
    else:
        command = [venv_python(), "-m", "pourcall"] + (words or ["demo"])
    try:
        sys.exit(subprocess.call(command, cwd=HERE if testing else None))
    except KeyboardInterrupt:
        sys.exit(130)


def checks():
    """What is not a test but must hold all the same."""
    tools = os.path.dirname(venv_python())
    for words in (
        ["ruff", "check", "."],
        ["ruff", "format", "--check", "."],
        ["mypy"],
        ["lint-imports"],
    ):
        sys.stderr.write("- " + " ".join(words) + "\n")
        code = subprocess.call([os.path.join(tools, words[0])] + words[1:], cwd=HERE)
        if code:
            sys.exit(code)


def _has_dev():
    """An environment made for the tests serves the program too: do not make it anew each time they take turns."""
    try:
        with open(os.path.join(VENV, "made-from"), encoding="ascii") as file:
            return file.read().split()[:1] == [stamp("requirements-dev.txt")]
    except OSError:
        return False


if __name__ == "__main__":
    main(sys.argv[1:])
