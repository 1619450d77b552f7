"""Every command runs in a folder of its own, with records of its own."""

import pytest

from hingeline.model.writing import example_text


@pytest.fixture(autouse=True)
def folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HINGELINE_RECORDS", str(tmp_path / "records.sqlite"))
    monkeypatch.delenv("HINGELINE_PORT", raising=False)
    (tmp_path / "millrace.toml").write_text(example_text(), "utf-8")
    return tmp_path
