"""The command line, called as a person does, on a terminal of eighty columns."""

from pathlib import Path

import pytest

from told import Said, Tell
from wearstats_cli.main import main


@pytest.fixture
def tell(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Tell:
    monkeypatch.setenv("COLUMNS", "80")

    def call(*words: str | Path) -> Said:
        with pytest.raises(SystemExit) as left:
            main([str(word) for word in words])
        printed = capsys.readouterr()
        assert isinstance(left.value.code, int)
        return Said(left.value.code, printed.out, printed.err)

    return call
