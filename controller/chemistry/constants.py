"""Numbers of nature and of the trade, each once, with where it comes from."""

from __future__ import annotations

FARADAY_C_MOL = 96485.33212  # exact since the SI of 2019 (CODATA 2018)
GAS_J_MOL_K = 8.314462618  # exact since the SI of 2019
ZERO_CELSIUS_K = 273.15

ATMOSPHERE_KPA = 101.325  # the standard atmosphere
ATMOSPHERE_BAR = 1.01325
NORMAL_C = 0.0  # a normal litre: 0 C and 101.325 kPa, dry (DIN 1343)
ROOM_C = 25.0  # a litre at room conditions here: 25 C and 101.325 kPa

HYDROGEN_G_MOL = 2.01588  # IUPAC standard atomic weights, conventional
OXYGEN_G_MOL = 31.9988
WATER_G_MOL = 18.01528
CARBON_DIOXIDE_G_MOL = 44.0095

ELECTRONS_PER_HYDROGEN = 2  # H2O -> H2 + 1/2 O2
ELECTRONS_PER_OXYGEN = 4

HHV_J_MOL = 285_830.0  # enthalpy of formation of liquid water, 25 C, 1 bar: CODATA Key Values 1989
LHV_J_MOL = 241_826.0  # of steam: the same tables

# Flammability. Sources differ (IEC 60079-20-1:2010, NFPA 497:2008, Bureau of Mines Bulletin 503, NASA NSS 1740.16); the
# cautious end of them is taken, in air and in oxygen alike.
LFL_FRACTION = 0.04
UFL_IN_AIR_FRACTION = 0.77
UFL_IN_OXYGEN_FRACTION = 0.94
HYDROGEN_TO_AIR_DENSITY = 0.0695  # at equal temperature and pressure: from the molar masses
AIR_OXYGEN_FRACTION = 0.2095
