"""Work in a copy of the process comes back as if it had been done here."""

import os

import pytest

from tankwright import alongside as module
from tankwright.alongside import alongside
from tankwright.papers import all_papers

from .papers.fixture import small_work


def result(work):
    with alongside(work) as wait:
        return wait()


def test_the_result_comes_from_a_copy_where_two_can_run(monkeypatch):
    assert result(lambda: {"a": bytes(3_000_000)}) == {"a": bytes(3_000_000)}
    monkeypatch.setattr(module, "_two_can_run", lambda: hasattr(os, "fork"))
    if hasattr(os, "fork"):
        assert result(os.getpid) != os.getpid()
    monkeypatch.setattr(module, "_two_can_run", lambda: False)
    assert result(os.getpid) == os.getpid()


def test_a_fault_or_a_dead_copy_is_met_again_here(monkeypatch):
    monkeypatch.setattr(module, "_two_can_run", lambda: hasattr(os, "fork"))
    with pytest.raises(ZeroDivisionError):
        result(lambda: 1 // 0)
    here = os.getpid()
    assert result(lambda: 7 if os.getpid() == here else os._exit(1)) == 7


def test_no_copy_is_left_where_this_process_fails(monkeypatch):
    monkeypatch.setattr(module, "_two_can_run", lambda: hasattr(os, "fork"))
    copies = []
    copy = module._copy
    monkeypatch.setattr(module, "_copy", lambda work: copies.append(copy(work)) or copies[-1])
    with pytest.raises(KeyError), alongside(lambda: bytes(3_000_000)):
        raise KeyError
    for child, pipe in filter(None, copies):
        assert pipe.closed
        with pytest.raises(ChildProcessError):
            os.waitpid(child, os.WNOHANG)


def test_papers_are_the_same_from_one_process_or_two(monkeypatch):
    work = small_work("shear")
    monkeypatch.setattr(module, "_two_can_run", lambda: False)
    one = all_papers(work)
    monkeypatch.setattr(module, "_two_can_run", lambda: hasattr(os, "fork"))
    assert all_papers(work) == one
