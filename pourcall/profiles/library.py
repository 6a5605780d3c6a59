"""All profiles: those that ship (ramps/), and a user's folder, which adds to them and overrides by the file's name."""

from pathlib import Path

from pourcall.contract.errors import BadSheet, NotFound
from pourcall.contract.message import tell
from pourcall.contract.toml_tables import Fault, hint
from pourcall.profiles.profile import Profile, parse_profile, refused

RAMP_DIR = Path(__file__).parent / "ramps"


class ProfileLibrary:
    """Profiles by key (the name of the file); a file with a fault is refused and the rest load."""

    def __init__(self, user_dir: Path | None = None, *, shipped_dir: Path = RAMP_DIR) -> None:
        self._files = {path.stem: path for path in sorted(shipped_dir.glob("*.toml"))}
        self.own: frozenset[str] = frozenset()
        if user_dir is not None and user_dir.is_dir():
            own = {path.stem: path for path in sorted(user_dir.glob("*.toml"))}
            self.own = frozenset(own)
            self._files |= own

    def keys(self) -> tuple[str, ...]:
        """Keys of all files, sound or not."""
        return tuple(sorted(self._files))

    def get(self, key: str) -> Profile:
        """One profile. Raises NotFound naming the nearest, BadSheet."""
        path = self._files.get(key)
        if path is None:
            what = tell("profile.not_found", profile=key, hint=hint(key, self._files))
            raise NotFound(what, remedy=tell("profile.not_found.remedy"))
        try:
            text = path.read_text("utf-8")
        except (OSError, UnicodeDecodeError) as err:
            raise refused(key, str(path), [Fault("", tell("toml.unreadable", error=str(err)))]) from err
        return parse_profile(text, key=key, file=str(path))

    def all(self) -> tuple[tuple[Profile, ...], tuple[BadSheet, ...]]:
        """Every sound profile, and why the others are refused."""
        sound, faulty = [], []
        for key in self.keys():
            try:
                sound.append(self.get(key))
            except BadSheet as err:
                faulty.append(err)
        return tuple(sound), tuple(faulty)

    def default_for(self, alloy: str, family: str) -> Profile:
        """The user's own first; one that names the alloy before one that names its family. Raises NotFound."""
        sound, _ = self.all()
        ranked = sorted(sound, key=lambda profile: (profile.key not in self.own, profile.key))
        for profile in ranked:
            if alloy in profile.alloys:
                return profile
        for profile in ranked:
            if family in profile.families:
                return profile
        raise NotFound(tell("profile.none_meant", alloy=alloy), remedy=tell("profile.none_meant.remedy"))
