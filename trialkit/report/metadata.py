"""A trial described under the names of the standards by which data are found and cited, and what is still missing.

MIAPPE 1.2 (Papoutsoglou et al. 2020, New Phytol. 227, 260-273, for 1.1; what 1.2 adds from memory), the DataCite
Metadata Schema 4.5 and RO-Crate 1.3. Accession numbers, gene banks and samples play no part in trials of bought seed.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any
from urllib.parse import quote

import pandas as pd

from trialkit.documents.answers import Gap
from trialkit.domain.table_names import COUNTY_FILE, PROTOCOL_FILE
from trialkit.protocol.publication import Licence, Person, Publication, Role, is_orcid
from trialkit.rules.trial_folder import CheckedTrial
from trialkit.tables.table_schema import load_schema

LICENCES: Mapping[Licence, tuple[str, str]] = {
    "CC-BY-4.0": ("Creative Commons Attribution 4.0 International", "https://creativecommons.org/licenses/by/4.0/"),
    "CC0-1.0": ("CC0 1.0 Universal", "https://creativecommons.org/publicdomain/zero/1.0/"),
}
UNITS_FILE = "observation_units.csv"
CRATE_FILE = "ro-crate-metadata.json"
KEYWORDS = ("lettuce", "hydroponics", "field trial", "randomised")
CONTRIBUTOR_TYPES: Mapping[Role, str] = {
    "contact": "ContactPerson",
    "data collector": "DataCollector",
    "data manager": "DataManager",
    "project leader": "ProjectLeader",
    "researcher": "Researcher",
    "supervisor": "Supervisor",
}
"""DataCite's names of what contributors do; authors are its creators."""
FACTOR_TYPES = {
    "cultivar": ("Cultivar", "Cultivar of lettuce."),
    "dose": ("Nutrient dose", "Level teaspoons of nutrient in a bucket."),
    "acidifier": ("Acidifier", "Acid that lowers the pH of the solution; none where nothing was added."),
}
OBSERVED = (
    ("heads", "weight_g", "fresh weight of the head as cut and trimmed", "kitchen scale"),
    ("heads", "outcome", "what became of the head, by the outcomes of heads.csv", "seen"),
    ("heads", "harvested_on", "first visit at which the head was ready", "visits"),
    ("heads", "marketable", "whether a gardener would be glad to eat it or give it away", "seen"),
    ("solution", "ph_after", "pH of the solution after acid", "strip or meter"),
    ("solution", "ec_ms_cm", "electrical conductivity of the solution at 25 degrees Celsius", "meter"),
)
FACILITY = "Gardens of volunteers: lidded buckets of still nutrient solution outdoors, net cups in the lid, no pump."
LETTUCE = {"Organism": "NCBITAXON:4236", "Genus": "Lactuca", "Species": "sativa"}
DATACITE = "http://datacite.org/schema/kernel-4"


def gaps(trial: CheckedTrial) -> tuple[Gap, ...]:
    """Name all that standards make mandatory and the trial does not tell; nothing where it can be published."""
    return tuple(_gaps(trial.publication, trial))


def _gaps(told: Publication, trial: CheckedTrial) -> Iterator[Gap]:
    people = _holder(trial) if told.people else _for_all("publication.people")
    if not any("author" in person.roles for person in told.people):
        yield Gap("DataCite 4.5", "Creator", f'{people}, one with the role "author"')
    if not told.people:
        yield Gap("MIAPPE 1.2", "Person name and role", people)
    if not told.publisher:
        yield Gap("DataCite 4.5", "Publisher", _for_all("publication.publisher"))
    if told.published_on is None:
        yield Gap("DataCite 4.5", "Publication Year", f"{PROTOCOL_FILE}, publication.published_on")
        yield Gap("RO-Crate 1.3", "datePublished", f"{PROTOCOL_FILE}, publication.published_on")
    if told.licence is None:
        yield Gap("RO-Crate 1.3", "license", _for_all("publication.licence"))
    if told.country is None:
        yield Gap("MIAPPE 1.2", "Geographic location (country)", _for_all("publication.country"))
    for place, person in enumerate(told.people, start=1):
        where = f"{people}, number {place}"
        if not person.affiliation and not person.organisation:
            yield Gap("MIAPPE 1.2", f"Person affiliation of {person.name}", where)
        if person.orcid and not is_orcid(person.orcid):
            yield Gap("ORCID", f"an iD of {person.name} whose last figure fits", where)
    if pd.isna(_planted(trial)):
        yield Gap("MIAPPE 1.2", "Start date of study", "heads.csv, transplanted_on")


def _for_all(key: str) -> str:
    """Where something is told that may be the same for all trials of a county."""
    return f"{PROTOCOL_FILE} or, for all trials of the county, {COUNTY_FILE}, {key}"


def _holder(trial: CheckedTrial) -> str:
    """The file that tells of the people, and the key."""
    return f"{PROTOCOL_FILE if trial.protocol.publication.people else COUNTY_FILE}, publication.people"


def _planted(trial: CheckedTrial) -> Any:
    return trial.heads["transplanted_on"].min()


def contributors(told: Publication) -> list[dict[str, Any]]:
    """Who had a part, as the Data Package standard names it."""
    return [
        {"title": person.name, "roles": list(person.roles)}
        | ({"path": orcid_url(person)} if person.orcid else {})
        | ({"organization": person.affiliation} if person.affiliation else {})
        for person in told.people
    ]


def orcid_url(person: Person) -> str:
    """Address of somebody's ORCID iD."""
    return f"https://orcid.org/{person.orcid}"


def datacite_record(trial: CheckedTrial, licence: Licence) -> dict[str, Any]:
    """Describe the data by the DataCite Metadata Schema, in its JSON form; a DOI comes with registration."""
    told, about = trial.publication, trial.protocol.trial
    title, path = LICENCES[licence]
    creators = [_datacite_name(person) for person in told.people if "author" in person.roles]
    helpers = [
        {**_datacite_name(person), "contributorType": CONTRIBUTOR_TYPES[role]}
        for person in told.people
        for role in person.roles
        if role != "author"
    ]
    if told.licence_holder:
        helpers.append({"name": told.licence_holder, "contributorType": "RightsHolder"})
    dates = [{"date": told.published_on.isoformat(), "dateType": "Issued"}] if told.published_on else []
    planted, cut = _planted(trial), trial.heads["harvested_on"].max()
    if not pd.isna(planted) and not pd.isna(cut):
        dates.append({"date": f"{_day(planted)}/{_day(cut)}", "dateType": "Collected"})
    return {
        "types": {"resourceTypeGeneral": "Dataset", "resourceType": "Randomised trial"},
        "creators": creators,
        "titles": [{"title": about.title}],
        **({"publisher": {"name": told.publisher}} if told.publisher else {}),
        **({"publicationYear": str(told.published_on.year)} if told.published_on else {}),
        "subjects": [{"subject": word} for word in KEYWORDS],
        **({"contributors": helpers} if helpers else {}),
        **({"dates": dates} if dates else {}),
        "language": "en",
        "version": told.version,
        "rightsList": [
            {"rights": title, "rightsUri": path, "rightsIdentifier": licence, "rightsIdentifierScheme": "SPDX"}
        ],
        "descriptions": [{"description": about.question, "descriptionType": "Abstract"}],
        **({"geoLocations": [{"geoLocationPlace": told.country}]} if told.country else {}),
        "formats": ["text/csv", "application/json"],
        "schemaVersion": DATACITE,
    }


def _datacite_name(person: Person) -> dict[str, Any]:
    identifier = {
        "nameIdentifier": orcid_url(person),
        "nameIdentifierScheme": "ORCID",
        "schemeUri": "https://orcid.org",
    }
    return {
        "name": person.name,
        "nameType": "Organizational" if person.organisation else "Personal",
        **({"nameIdentifiers": [identifier]} if person.orcid else {}),
        **({"affiliation": [{"name": person.affiliation}]} if person.affiliation else {}),
    }


def ro_crate(trial: CheckedTrial, licence: Licence, resources: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Describe the package and its files as an RO-Crate, in JSON-LD.

    Parameters
    ----------
    trial : CheckedTrial
    licence : {"CC-BY-4.0", "CC0-1.0"}
    resources : sequence of mappings
        Of the data package: ``path``, ``description``, ``mediatype`` and ``bytes`` of each file.
    """
    told, about = trial.publication, trial.protocol.trial
    title, path = LICENCES[licence]
    people = [_crate_person(place, person) for place, person in enumerate(told.people, start=1)]
    authors = [_reference(made) for made, person in zip(people, told.people, strict=True) if "author" in person.roles]
    others = [
        _reference(made) for made, person in zip(people, told.people, strict=True) if "author" not in person.roles
    ]
    root = {
        "@id": "./",
        "@type": "Dataset",
        "name": about.title,
        "description": about.question,
        "license": {"@id": path},
        "version": told.version,
        "keywords": ", ".join(KEYWORDS),
        "hasPart": [{"@id": one["path"]} for one in resources],
        **({"datePublished": told.published_on.isoformat()} if told.published_on else {}),
        **_one_or_several("author", authors),
        **_one_or_several("contributor", others),
        **({"publisher": {"@id": "#publisher"}} if told.publisher else {}),
        **({"copyrightHolder": {"@id": "#licence-holder"}} if told.licence_holder else {}),
    }
    affiliations = {person.affiliation for person in told.people if _works_somewhere(person)}
    named = [("#publisher", told.publisher), ("#licence-holder", told.licence_holder)]
    named += [(_place_of(name), name) for name in sorted(affiliations)]
    files = [
        {
            "@id": one["path"],
            "@type": "File",
            "name": one.get("title", one["path"]),
            "description": one["description"],
            "encodingFormat": one["mediatype"],
            "contentSize": str(one["bytes"]),
        }
        for one in resources
    ]
    return {
        "@context": "https://w3id.org/ro/crate/1.3/context",
        "@graph": [
            {
                "@id": CRATE_FILE,
                "@type": "CreativeWork",
                "about": {"@id": "./"},
                "conformsTo": {"@id": "https://w3id.org/ro/crate/1.3"},
            },
            root,
            *files,
            {"@id": path, "@type": "CreativeWork", "name": title, "description": f"The licence {licence}."},
            *people,
            *({"@id": name, "@type": "Organization", "name": said} for name, said in named if said),
        ],
    }


def _crate_person(place: int, person: Person) -> dict[str, Any]:
    return {
        "@id": orcid_url(person) if person.orcid else f"#person-{place}",
        "@type": "Organization" if person.organisation else "Person",
        "name": person.name,
        **({"affiliation": {"@id": _place_of(person.affiliation)}} if _works_somewhere(person) else {}),
    }


def _works_somewhere(person: Person) -> bool:
    return bool(person.affiliation) and not person.organisation


def _place_of(affiliation: str) -> str:
    return f"#{quote(affiliation.lower().replace(' ', '-'))}"


def _one_or_several(name: str, references: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """A property with its value, or its values: the standard wants one by itself."""
    if not references:
        return {}
    return {name: references[0] if len(references) == 1 else list(references)}


def _reference(entity: Mapping[str, Any]) -> dict[str, Any]:
    return {"@id": entity["@id"]}


def miappe(trial: CheckedTrial, licence: Licence) -> dict[str, Any]:
    """Describe the trial under the names of MIAPPE 1.2: an investigation, and a study for each garden."""
    protocol, told, about = trial.protocol, trial.publication, trial.protocol.trial
    return {
        "Investigation": {
            "Investigation unique ID": about.id,
            "Investigation title": about.title,
            "Investigation description": about.question,
            "License": licence,
            "MIAPPE version": "1.2",
            **({"Public release date": told.published_on.isoformat()} if told.published_on else {}),
        },
        "Person": [
            {
                "Person name": person.name,
                **({"Person ID": orcid_url(person)} if person.orcid else {}),
                "Person role": ", ".join(person.roles),
                "Person affiliation": person.affiliation or (person.name if person.organisation else ""),
            }
            for person in told.people
        ],
        "Study": [_study(trial, str(site)) for site in sorted(trial.layout["site"].astype(str).unique())],
        "Biological material": [
            {"Biological material ID": str(name), **LETTUCE}
            for name in sorted(trial.layout["cultivar"].astype(str).unique())
            if name
        ]
        or [{"Biological material ID": "lettuce", **LETTUCE}],
        "Experimental factor": [
            {
                "Experimental Factor type": FACTOR_TYPES[name][0],
                "Experimental Factor description": FACTOR_TYPES[name][1],
                "Experimental Factor values": "; ".join(map(_level, factor.levels)),
            }
            for name, factor in protocol.factors.items()
        ],
        "Observed variable": list(_variables(trial)),
        "Environment": [
            {
                "Study unique ID": _study_id(trial, str(row["site"])),
                "Environment parameter": "alkalinity of the tap water, mg/L as calcium carbonate",
                "Environment parameter value": float(row["alkalinity_mg_l_caco3"]),
            }
            for row in trial.sites.sort_values("site").to_dict("records")
            if not _is_blank(row["alkalinity_mg_l_caco3"])
        ],
        "Data file": [
            {
                "Data file link": f"{name}.csv",
                "Data file description": load_schema(name).description,
                "Data file version": told.version,
            }
            for name in ("heads", "solution", "layout", "visits")
            if len(getattr(trial, name))
        ],
        "Observation unit": UNITS_FILE,
    }


def _study(trial: CheckedTrial, site: str) -> dict[str, Any]:
    protocol, told, about = trial.protocol, trial.publication, trial.protocol.trial
    labels = trial.layout["bucket"][trial.layout["site"].astype(str) == site]
    heads = trial.heads[trial.heads["bucket"].isin(labels)]
    names = trial.sites.loc[trial.sites["site"] == site, "name"]
    return {
        "Study unique ID": _study_id(trial, site),
        "Study title": f"{about.title}: {site}",
        "Study description": about.question,
        "Start date of study": _day(heads["transplanted_on"].min()),
        "End date of study": _day(heads["harvested_on"].max()),
        "Contact institution": told.publisher or about.contact_role,
        "Geographic location (country)": told.country,
        "Experimental site name": next((str(name) for name in names if name), site),
        "Description of the experimental design": (
            f"{protocol.layout.kind}, {protocol.layout.blocks} block(s) a garden, randomised with seed {protocol.seed}"
        ),
        "Type of experimental design": protocol.layout.kind,
        "Observation unit level hierarchy": "site > block > bucket > head",
        "Observation unit description": (
            f"A lidded bucket of {protocol.bucket.volume_l:g} L still nutrient solution with {protocol.bucket.heads} "
            "heads; treatments were given to buckets."
        ),
        "Description of growth facility": told.facility or FACILITY,
        "Type of growth facility": "outdoor containers",
        "Cultural practices": "Passive hydroponics: net cups over still solution, no pump.",
        "Map of experimental design": "layout.csv",
    }


def _study_id(trial: CheckedTrial, site: str) -> str:
    return f"{trial.protocol.trial.id}-{site}"


def _variables(trial: CheckedTrial) -> Iterator[dict[str, Any]]:
    """What was observed; units by their codes in UCUM, the Unified Code for Units of Measure."""
    for table, column, trait, method in OBSERVED:
        if getattr(trial, table)[column].notna().any():
            field = load_schema("heads" if table == "heads" else "solution").field(column)
            scale = field.unit or {"date": "date", "boolean": "yes or no"}.get(field.type, "category")
            yield {
                "Variable ID": column,
                "Variable name": field.title,
                "Trait": trait,
                "Method": method,
                "Scale": scale,
            }


def _level(level: str | float) -> str:
    return level if isinstance(level, str) else f"{level:g}"


def _day(value: Any) -> str | None:
    return None if pd.isna(value) else str(value.date().isoformat())


def _is_blank(value: object) -> bool:
    return value is None or value is pd.NA or value != value or value == ""
