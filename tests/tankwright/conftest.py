"""What several test files of the app share."""

from pathlib import Path

import pytest


@pytest.fixture
def no_shop_from_outside(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The tester's own shop file has no say here."""
    monkeypatch.delenv("TANKWRIGHT_SHOP", raising=False)
    for name in ("XDG_CONFIG_HOME", "APPDATA", "HOME"):
        monkeypatch.setenv(name, str(tmp_path / "nobody"))
