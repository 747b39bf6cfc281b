"""The published references that laws and defaults cite, each with its standing.

A card names its sources by the keys of `SOURCES`. The standing says how far the reference itself was
consulted, so that a reader knows which numbers rest on a text that was read and which do not.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, cast, get_args

from .errors import UnknownName

Standing = Literal["seen", "from memory", "common practice", "our assumption"]


@dataclass(frozen=True, slots=True)
class Source:
    """One reference.

    Attributes
    ----------
    key : str
        The word that cards cite.
    title : str
        Title of the work, or what it holds where the title is not known.
    authors : str
        Authors, empty for the work of a body.
    body : str
        Publisher, society or journal.
    year : str
        Year or edition, empty where it is not known.
    where : str
        Chapter, table, equation, DOI; and how it was consulted when not in the original.
    standing : "seen", "from memory", "common practice" or "our assumption"
        "seen": the text or a faithful reproduction of the values used was read.
        "from memory": recalled, the text was not at hand. "common practice": what the trade does, no
        published source. "our assumption": a choice of this project.
    """

    key: str
    title: str
    authors: str
    body: str
    year: str
    where: str
    standing: Standing

    def __str__(self) -> str:
        words = (self.authors, self.title, self.body, self.year, self.where)
        text = ", ".join(word for word in words if word)
        return text if self.standing in text else f"{text} ({self.standing})"

    def bibtex(self) -> str:
        """The entry for a bibliography: only what stands above, an author and a year where they are known."""
        doi = re.search(r"\bdoi (10\.\S+?)(?=[;,]? |[;,]?$)", self.where)
        fields = {
            "author": _bibtex_names(self.authors),
            "title": f"{{{_tex(self.title)}}}",
            "howpublished": _tex(self.body),
            "year": self.year,
            "doi": doi[1] if doi else "",
            "note": _tex("; ".join(word for word in (self.where, self.standing) if word)),
        }
        lines = [f"  {name} = {{{value}}}," for name, value in fields.items() if value]
        return "\n".join([f"@misc{{{self.key},", *lines, "}"])


def _bibtex_names(authors: str) -> str:
    """Names joined by "and", as a bibliography wants them; those left out are "others"."""
    names = re.split(r"; |, | and ", authors.replace(" et al.", "")) if authors else []
    return _tex(" and ".join([*names, *(["others"] if "et al." in authors else [])]))


def _tex(text: str) -> str:
    """A text whose signs mean themselves in a bibliography."""
    for sign, written in (
        ("\\", r"\textbackslash "),
        ("~", r"\textasciitilde "),
        ("^", r"\textasciicircum "),
    ):
        text = text.replace(sign, written)
    return re.sub(r"([&%$#_{}])", r"\\\1", text)


# A paragraph each: key | standing | authors | title | body | year | where and how it was consulted.
_LIST = """
# air

cipm2007 | seen | Picard et al. | Revised formula for the density of moist air (CIPM-2007) | Metrologia
    45, 149-155 | 2008 | abstract and constants seen, the latter in public implementations that cite the
    paper

std_atmosphere1976 | seen | | U.S. Standard Atmosphere, 1976 | NOAA, NASA and USAF | 1976 | altitude,
    temperature and pressure as table 1 of ashrae2021ch1

sutherland | from memory | | Viscosity of air by Sutherland's law | U.S. Standard Atmosphere | 1976 |
    constants 1.458e-6 and 110.4 K from memory, equal to those in the general library fluids 1.3

ashrae2021ch1 | seen | | ASHRAE Handbook - Fundamentals (SI) | American Society of Heating,
    Refrigerating and Air-Conditioning Engineers | 2021 | chapter 1, psychrometrics: station pressure,
    example 1, saturated air

# ducts

ashrae2021ch21 | seen | | ASHRAE Handbook - Fundamentals (SI) | American Society of Heating,
    Refrigerating and Air-Conditioning Engineers | 2021 | chapter 21, Duct Design: equations 9, 17 to
    23, 37 to 42; tables 1, 8; examples 1 to 9

ashrae2009ch21 | seen | | ASHRAE Handbook - Fundamentals (SI) | American Society of Heating,
    Refrigerating and Air-Conditioning Engineers | 2009 | pages 21.26 to 21.27, fitting loss tables CD3

ashrae2005_fittings | seen | | ASHRAE Handbook - Fundamentals (SI) | American Society of Heating,
    Refrigerating and Air-Conditioning Engineers | 2005 | fitting CR3-1, rectangular smooth bend

colebrook1939 | seen | Colebrook | Turbulent flow in pipes, with particular reference to the transition
    region between the smooth and rough pipe laws | Journal of the Institution of Civil Engineers 11(4),
    133-156 | 1939 | doi 10.1680/ijoti.1939.13150; as equation 19 of ashrae2021ch21

laminar_pipe | common practice | | Friction of laminar flow in a round pipe, 64 / Re (Hagen and
    Poiseuille) | | | derived in any textbook of fluid mechanics

clamond2009 | seen | Clamond | Efficient resolution of the Colebrook equation | Industrial & Engineering
    Chemistry Research 48(7), 3665-3671 | 2009 | doi 10.1021/ie801626g; as transcribed in the
    documentation of the general library fluids 1.3

smacna_a7 | seen | | HVAC Systems Duct Design, 4th edition | Sheet Metal and Air Conditioning
    Contractors' National Association | | table A-7: round bends A-7A, gored A-7B, mitred A-7C, and the
    angle factors

abushakra2004 | seen | Abushakra et al.; Culp | Correction of a flexible duct's friction for its
    compression | | 2004, 2011 | as equations 22 and 23 and example 6 of ashrae2021ch21, which
    attributes them so; tests covered 150 to 250 mm

idelchik | seen | Idelchik | Handbook of Hydraulic Resistance | National Technical Information Service |
    1966 | published curve fits, as transcribed in the documentation of the general library fluids 1.3

hose_bends | from memory | | Bends of flexible hose lose about twice what smooth bends lose | | | told by
    the abstract of a published test; the text was not at hand

miller | seen | Miller | Internal Flow Systems: Design and Performance Prediction | Gulf Publishing
    Company | 1990 | example 9.12, as transcribed in the documentation of the general library fluids 1.3

rennels | seen | Rennels and Hudson | Pipe Flow: A Practical and Comprehensive Guide | Wiley | 2012 | as
    transcribed in the documentation of the general library fluids 1.3

crane410 | seen | | Flow of Fluids Through Valves, Fittings, and Pipe (TP-410) | Crane | 2009 | examples
    7.33, 7.35 and 7.36, as transcribed in the documentation of the general library fluids 1.3

ito1960 | seen | Ito | Pressure losses in smooth pipe bends | Journal of Fluids Engineering 82(1),
    131-140 | 1960 | doi 10.1115/1.3662501; as transcribed in the documentation of the general library
    fluids 1.3

blevins | seen | Blevins | Applied Fluid Dynamics Handbook | Van Nostrand Reinhold | 1984 | screens,
    grills and mitre bends, as transcribed in the documentation of the general library fluids 1.3

idelchik_plates | from memory | Idelchik | Handbook of Hydraulic Resistance | National Technical
    Information Service | 1966 | thin perforated plates with sharp edges, recalled; within 21 % of the
    table in blevins, and equal to it within 2 % at open shares of 0.1, 0.2 and 0.6

borda_carnot | common practice | | Loss of a sudden enlargement (Borda-Carnot) | | | momentum balance,
    derived in any textbook of fluid mechanics

momentum_balance | common practice | | Momentum balance over a junction or a mixing section | | |
    derived in any textbook of fluid mechanics

white | seen | White | Fluid Mechanics | | | examples 6.18 and 6.19, pipes in parallel and three
    reservoirs

acgih2001 | seen | | Industrial Ventilation, 24th edition | American Conference of Governmental
    Industrial Hygienists | 2001 | figure 3-16, hood entry coefficients

# fans

fan_laws | common practice | | Fan laws: flow with speed, pressure with speed squared, power with speed
    cubed, both with density | | | checked against stoecker_jones and crane410 example 7.33

fritsch_carlson1980 | from memory | Fritsch and Carlson | Monotone piecewise cubic interpolation | SIAM
    Journal on Numerical Analysis 17 | 1980 | recalled

amca201 | from memory | | Fans and systems (AMCA 201): system effect factors of bends and short ducts at a
    fan's ends | Air Movement and Control Association | | letters and coefficients of the curves recalled;
    the text was not at hand

stoecker_jones | seen | Stoecker and Jones | Refrigeration and Air Conditioning | | | chapter 6, Fan and
    duct systems: a problem with its answer

# jets

esdu85032 | seen | | Ejectors and jet pumps. Design and performance for incompressible liquid flow
    (85032) | ESDU | 1985 | notation seen; equations and worked example 1 as transcribed in the
    documentation of the general library fluids 1.3

karassik2007 | seen | Karassik et al. | Pump Handbook, 4th edition | McGraw-Hill | 2007 | jet pump
    model, as transcribed in the documentation of the general library fluids 1.3

cengel | seen | Cengel and Cimbala | Fluid Mechanics: Fundamentals and Applications | McGraw Hill | 2006
    | example 12-1, stagnation pressure, as transcribed in the documentation of the general library
    fluids 1.3

isentropic | common practice | | Isentropic expansion of an ideal gas: temperature, density and velocity
    pressure over static pressure by the Mach number | | | derived in any textbook of gas dynamics

winoto2000 | seen | Winoto, Li and Shah | Efficiency of jet pumps | Journal of Hydraulic Engineering
    126(2), 150-156 | 2000 | doi 10.1061/(ASCE)0733-9429(2000)126:2(150); as transcribed in the
    documentation of the general library fluids 1.3

fox_mcdonald | seen | Fox and McDonald | Introduction to Fluid Mechanics | | | the jet pump problem 4.71
    (4.91 in another edition) with its solution

# leaks

en12237 | from memory | | EN 12237, strength and leakage of circular sheet metal ducts (with EN 1507 for
    rectangular ones) | European Committee for Standardization | | that classes A to D exist was seen;
    their constants are from memory

iso9972 | from memory | | ISO 9972, thermal performance of buildings, fan pressurization method |
    International Organization for Standardization | 2015 | recalled: the coefficient of Q = C dp^n is
    referred to a standard density rho_0 by (rho / rho_0)^(1 - n); 1.2 kg/m3 at 20 degC and 101325 Pa

smacna_leakage | seen | | Duct leakage classes, table 4-1 | Sheet Metal and Air Conditioning
    Contractors' National Association | | as reproduced in a test instrument's manual of 2015

baker1987 | from memory | Baker, Sharples and Ward | Flow through cracks, the quadratic law | | 1987 |
    formula recalled; the text was not at hand

orifice_coefficient | seen | | Discharge coefficient of a sharp-edged opening, 0.61; by free-streamline
    theory pi / (pi + 2) | | | the value 0.60 to 0.62 seen in several engineering notes, the theory from
    memory

# crop

gin_conveying2019 | seen | | Cotton gin pneumatic conveying systems | Journal of Cotton Science 23(2),
    182-217 | 2019 | abstract seen: air to material ratio about 1.5, air at 1.2 kg/m3

gin_pipes | seen | | Air-blast nozzle pressures; blow-through and suction pipes for cottonseed | United
    States Department of Agriculture, circulars 510 and 768 | 1938, 1953 | seen in an archive

gin_handbook503 | from memory | | Cotton Ginners Handbook (Handbook 503) | United States Department of
    Agriculture | | conveying velocities and air to cotton ratios recalled; the text was not at hand

unloading2001 | seen | | Pressure loss of seed-cotton unloading systems | Applied Engineering in
    Agriculture 17(4), 465-473 | 2001 | doi 10.13031/2013.6463; abstract seen: calculated and measured
    losses differ by up to 23 %

agarwal2005 | seen | Agarwal | Theory and Design of Dilute Phase Pneumatic Conveying Systems | Powder
    Handling & Processing 17(1) | 2005 | the line equation after Zenz and Othmer: the factor 1 + K mu, K =
    f_p V_p / (f V_g), stands on the friction term alone, not on velocity pressures; bends as equivalent
    lengths of pipe

added_pressure | from memory | | Added pressure of conveyed material, 1 + K mu, and the loss of
    acceleration | | | form seen on process reference sheet MET-25A6; values of K from memory

ventilation_guidebook2001 | seen | | Industrial Ventilation Design Guidebook | | 2001 | section 14,
    conveying example after Lampinen (1991)

rizk | seen | Rizk | Pneumatic conveying at optimal operation conditions and a solution of Bath's
    equation | Proceedings of Pneumotransport 3, BHRA Fluid Engineering | 1973 | as transcribed in the
    documentation of the general library fluids 1.3; its worked example from rhodes

rhodes | seen | Rhodes | Introduction to Particle Technology | Wiley | 2013 | the saltation example, as
    transcribed in the documentation of the general library fluids 1.3

bale_mass | seen | | Statistical bale of 480 lb (217.7 kg) of lint; bale masses by country | | | seen in
    glossaries and in a public ginning text

seed_cotton_composition | seen | | Composition of seed cotton: about 34 % lint, 64 % seed, 2 % waste | |
    | two secondary pages agree within 2 %; a turnout of 35 to 42 % for picked cotton is from memory

# measuring, fitting, sampling

iso3966 | from memory | | Velocity area method with Pitot static tubes (ISO 3966): where to stand in a
    section | International Organization for Standardization | | recalled

nist_strd | from memory | | Statistical Reference Datasets: nonlinear regression | National Institute of
    Standards and Technology | | certified values recalled

shapley1953 | from memory | Shapley | A value for n-person games | | 1953 | recalled

jansen1999 | from memory | Jansen | Analysis of variance designs for model output | Computer Physics
    Communications 117 | 1999 | recalled

saltelli2010 | from memory | Saltelli et al. | Variance based sensitivity analysis of model output:
    design and estimator for the total sensitivity index | Computer Physics Communications 181 | 2010 |
    recalled

ishigami1990 | from memory | Ishigami and Homma | An importance quantification technique in uncertainty
    analysis for computer models | | 1990 | the test function and its variance shares recalled

# without a publication at hand

from_memory_jet_losses | from memory | Sanger; Cunningham | Usual loss coefficients of jet pumps: nozzle
    0.05, suction 0 to 0.1, mixing 0.1 to 0.2 | | | recalled

from_memory_mixing_length | from memory | | Full mixing of a jet needs about 5 to 8 diameters of mixing
    length | | | recalled

from_memory_slip | from memory | | Crop slip velocity of 3 to 9 m/s in conveying ducts | | | recalled;
    no suspension velocity of seed cotton was found

from_memory | from memory | | Recalled value | | | the text was not at hand

common_practice | common practice | | Common practice, no published source | | |

our_assumption | our assumption | | Our assumption, no source | | |
"""


def _read(text: str) -> dict[str, Source]:
    out: dict[str, Source] = {}
    for paragraph in re.split(r"\n\s*\n", text.strip()):
        if paragraph.startswith("#"):
            continue
        key, standing, authors, title, body, year, where = (" ".join(w.split()) for w in paragraph.split("|"))
        if key in out or standing not in get_args(Standing):
            raise ValueError(f"the source {key!r} stands twice, or its standing is unknown")
        out[key] = Source(key, title, authors, body, year, where, cast(Standing, standing))
    return out


SOURCES: dict[str, Source] = _read(_LIST)
"""Every reference by its key."""


def source(key: str) -> Source:
    """The reference that a card cites as `key`; an UnknownName with the nearest key otherwise."""
    known = SOURCES.get(key)
    if known is None:
        raise UnknownName.of("source", key, SOURCES)
    return known
