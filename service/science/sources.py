"""Where every formula and constant comes from, by key: first author and two digits of the year.

Two keys are no publications. DERIVED: worked out here - a balance of matter, algebra on the relations named beside it -
and held to the tests named beside it. PRACTICE: what the trade does, or a judgement, with nothing published behind it.
"""

from dataclasses import dataclass
from types import MappingProxyType


@dataclass(frozen=True, slots=True)
class Source:
    """A publication (or the word that there is none): how to cite it, and its DOI where it has one."""

    citation: str
    doi: str | None = None


SOURCES = MappingProxyType(
    {
        "ABRAMOWITZ64": Source(
            "Abramowitz & Stegun 1964, Handbook of mathematical functions, NBS Applied Mathematics 55"
        ),
        "AITKEN35": Source("Aitken 1935, Proc. R. Soc. Edinb. 55, 42 (generalised least squares)"),
        "BATES56": Source("Bates, Bower & Smith 1956, J. Res. Natl. Bur. Stand. 56, 305", "10.6028/jres.056.040"),
        "BARLOW03": Source("Barlow 2003, Asymmetric systematic errors, arXiv physics/0306138"),
        "BIPM19": Source("BIPM 2019, The International System of Units, 9th edition"),
        "BIRGE32": Source("Birge 1932, Phys. Rev. 40, 207 (errors by least squares)", "10.1103/PhysRev.40.207"),
        "BRYSON69": Source("Bryson & Ho 1969, Applied optimal control, Blaisdell"),
        "CFR173": Source("49 CFR 173.304a, Additional requirements for shipment of liquefied compressed gases"),
        "CHEN93": Source(
            "Chen & Liu 1993, J. Am. Stat. Assoc. 88, 284 (joint estimation of parameters and outlier effects)"
        ),
        "CHISHOLM91": Source(
            "Chisholm & Gattuso 1991, Limnol. Oceanogr. 36, 1232 (alkalinity anomaly)", "10.4319/lo.1991.36.6.1232"
        ),
        "DEJONG89": Source("de Jong 1989, J. Am. Stat. Assoc. 84, 1085 (smoothing with the state-space model)"),
        "DEJONG98": Source("de Jong & Penzer 1998, J. Am. Stat. Assoc. 93, 796 (diagnosing shocks in time series)"),
        "DERIVED": Source("Worked out here, from the relations named beside it; no publication states it"),
        "DICKSON07": Source(
            "Dickson, Sabine & Christian (eds.) 2007, Guide to best practices for ocean CO2 measurements, "
            "PICES Special Publication 3"
        ),
        "DICKSON79": Source("Dickson & Riley 1979, Mar. Chem. 7, 89", "10.1016/0304-4203(79)90001-X"),
        "DICKSON90B": Source("Dickson 1990, Deep-Sea Res. 37, 755 (boric acid)", "10.1016/0198-0149(90)90004-F"),
        "DICKSON90S": Source(
            "Dickson 1990, J. Chem. Thermodyn. 22, 113 (hydrogen sulphate)", "10.1016/0021-9614(90)90074-Z"
        ),
        "DIN": Source("Definition of the German degree of hardness: 10 mg/L calcium oxide"),
        "FIELLER54": Source("Fieller 1954, Some problems in interval estimation, J. R. Stat. Soc. B 16, 175"),
        "FOFONOFF83": Source(
            "Fofonoff & Millard 1983, Algorithms for computation of fundamental properties of seawater, "
            "UNESCO Technical Papers in Marine Science 44"
        ),
        "HUBER64": Source("Huber 1964, Ann. Math. Stat. 35, 73", "10.1214/aoms/1177703732"),
        "HUMPHREYS22": Source(
            "Humphreys, Lewis, Sharp & Pierrot 2022, Geosci. Model Dev. 15, 15 (PyCO2SYS)", "10.5194/gmd-15-15-2022"
        ),
        "IOC10": Source(
            "IOC, SCOR & IAPSO 2010, The international thermodynamic equation of seawater 2010 (TEOS-10), "
            "IOC Manuals and Guides 56"
        ),
        "ISO1768": Source(
            "ISO 1768:1975, Glass hydrometers: conventional value for the thermal cubic expansion coefficient"
        ),
        "IUPAC05": Source(
            "Wieser 2006, Atomic weights of the elements 2005, Pure Appl. Chem. 78, 2051", "10.1351/pac200678112051"
        ),
        "JCGM08": Source("JCGM 100:2008, Guide to the expression of uncertainty in measurement"),
        "KALMAN60": Source("Kalman 1960, J. Basic Eng. 82, 35", "10.1115/1.3662552"),
        "LEE10": Source("Lee et al. 2010, Geochim. Cosmochim. Acta 74, 1801 (boron)", "10.1016/j.gca.2009.12.027"),
        "LEWIS24": Source("Lewis & Whitman 1924, Ind. Eng. Chem. 16, 1215 (gas absorption)", "10.1021/ie50180a002"),
        "LUEKER00": Source("Lueker, Dickson & Keeling 2000, Mar. Chem. 70, 105", "10.1016/S0304-4203(00)00022-0"),
        "MILLERO95": Source("Millero 1995, Geochim. Cosmochim. Acta 59, 661", "10.1016/0016-7037(94)00354-O"),
        "MORRIS66": Source("Morris & Riley 1966, Deep-Sea Res. 13, 699", "10.1016/0011-7471(66)90601-2"),
        "MUCCI83": Source("Mucci 1983, Am. J. Sci. 283, 780", "10.2475/ajs.283.7.780"),
        "NAVIAUX20": Source(
            "Naviaux, Adkins, Li, Rollins & Berelson 2020, The control of calcite dissolution kinetics by the major "
            "ion composition of seawater, Ocean Sciences Meeting (abstract)"
        ),
        "NIOSH94": Source("NIOSH 1994, Documentation for immediately dangerous concentrations, 124389"),
        "NIST811": Source("Thompson & Taylor 2008, Guide for the use of the SI, NIST Special Publication 811"),
        "PENG76": Source("Peng & Robinson 1976, Ind. Eng. Chem. Fundam. 15, 59", "10.1021/i160057a011"),
        "PEREZ87": Source("Perez & Fraga 1987, Mar. Chem. 21, 161", "10.1016/0304-4203(87)90036-3"),
        "PLUMMER78": Source(
            "Plummer, Wigley & Parkhurst 1978, Am. J. Sci. 278, 179 (calcite in water with carbon dioxide)",
            "10.2475/ajs.278.2.179",
        ),
        "PRACTICE": Source("Common practice of the trade, or a judgement; no publication behind it"),
        "RAUCH65": Source("Rauch, Tung & Striebel 1965, AIAA J. 3, 1445", "10.2514/3.3166"),
        "RILEY65": Source("Riley 1965, Deep-Sea Res. 12, 219", "10.1016/0011-7471(65)90027-6"),
        "RILEY67": Source("Riley & Tongudai 1967, Chem. Geol. 2, 263", "10.1016/0009-2541(67)90026-5"),
        "SMITH75": Source("Smith & Key 1975, Limnol. Oceanogr. 20, 493 (carbon dioxide and metabolism)"),
        "SPAN96": Source("Span & Wagner 1996, J. Phys. Chem. Ref. Data 25, 1509", "10.1063/1.555991"),
        "TAKAHASHI82": Source(
            "Takahashi, Williams & Bos 1982, Carbonate chemistry, in GEOSECS Pacific Expedition vol. 3, 77"
        ),
        "THEIL50": Source("Theil 1950, Proc. K. Ned. Akad. Wet. 53, 386"),
        "UCUM": Source("The Unified Code for Units of Measure"),
        "UPPSTROM74": Source("Uppstrom 1974, Deep-Sea Res. 21, 161", "10.1016/0011-7471(74)90074-6"),
        "VANLOAN78": Source("Van Loan 1978, IEEE Trans. Autom. Control 23, 395", "10.1109/TAC.1978.1101743"),
        "WEISS74": Source("Weiss 1974, Mar. Chem. 2, 203", "10.1016/0304-4203(74)90015-2"),
        "WILLSKY76": Source(
            "Willsky & Jones 1976, A generalized likelihood ratio approach to the detection and estimation of jumps in "
            "linear systems, IEEE Trans. Autom. Control 21, 108",
            "10.1109/TAC.1976.1101146",
        ),
        "WOLFGLADROW07": Source("Wolf-Gladrow et al. 2007, Mar. Chem. 106, 287", "10.1016/j.marchem.2007.01.006"),
        "ZEEBE01": Source("Zeebe & Wolf-Gladrow 2001, CO2 in seawater, Elsevier Oceanography Series 65"),
    }
)
