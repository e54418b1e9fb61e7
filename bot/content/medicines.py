"""Knows the names of medicines, generic and common, from an open vocabulary in a package.

drug-named-entity-recognition (2.0.9, MIT licence) carries a dictionary which its metadata says was
built from DrugBank's open data, MeSH, MedlinePlus and the NHS's list. Only that data file is read:
the package's own code would write into the home directory. Nothing of it is copied into this
project.
"""

import bz2
import pickle
import unicodedata
from functools import cache
from importlib.metadata import PackageNotFoundError, distribution
from typing import Any, NoReturn

PACKAGE = "drug-named-entity-recognition"
DATA = "drug_named_entity_recognition/drug_ner_dictionary.pkl.bz2"
SHORTEST = 5  # letters; shorter names are other words too often
_FOR_PATIENTS = {"medline_plus_id", "nhs_url"}  # the public writes about these, so people take them


class MedicinesFault(RuntimeError):
    """The vocabulary is missing or is not what it was; the message says how to mend it."""


class _ValuesOnly(pickle.Unpickler):
    """Reads dictionaries, lists and texts; whatever would run code is refused."""

    def find_class(self, module_name: str, global_name: str, /) -> NoReturn:
        raise MedicinesFault(
            f"{PACKAGE}: its data names {module_name}.{global_name}, and data must not run code. "
            "Install the version in requirements.lock."
        )


def is_medicine(word: str) -> bool:
    """True for the name of a medicine in one word. The vocabulary is read at the first question."""
    return len(word) >= SHORTEST and word in medicine_names()


@cache
def medicine_names() -> frozenset[str]:
    """Every name in one word, in plain letters, of the medicines that patients are told about.

    Takes some 0.7 s once. Raises MedicinesFault.
    """
    found = _dictionary()
    known = found["drug_canonical_to_data"]
    taken = {name for name, facts in known.items() if not _FOR_PATIENTS.isdisjoint(facts)}
    spelt = found["drug_variant_to_canonical"].items()
    names = (_plain(name) for name, medicines in spelt if not taken.isdisjoint(medicines))
    return frozenset(n for n in names if len(n) >= SHORTEST and n.isascii() and n.isalpha())


def _dictionary() -> dict[str, Any]:
    try:
        path = distribution(PACKAGE).locate_file(DATA)
        with bz2.open(str(path), "rb") as packed:
            loaded: dict[str, Any] = _ValuesOnly(packed).load()
    except (PackageNotFoundError, OSError) as fault:
        problem = f"{PACKAGE} is not installed whole. Run: pip install -r requirements.lock"
        raise MedicinesFault(problem) from fault
    return loaded


def _plain(name: str) -> str:
    apart = unicodedata.normalize("NFKD", name.lower())
    return "".join(letter for letter in apart if not unicodedata.combining(letter))
