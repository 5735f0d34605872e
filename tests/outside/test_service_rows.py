"""TRADE.md section 3, rows R9 to R12: the size of a service, and the criteria to enter service.

Sources stand at each row; those of the National Electrical Code are from memory and want a look at the adopted edition.
"""

import pytest

from jobs.core import servicesize as size


def test_r9_a_200_a_service_carries_48_kva_of_it_38_4_continuously_and_a_320_a_socket_76_8():
    # 200 * 240 / 1000; 80 % of it; 320 * 240 / 1000.
    assert size.capacity_kva(200) == pytest.approx(48.0)
    assert size.capacity_kva(200, continuous=True) == pytest.approx(38.4)
    assert size.capacity_kva(320) == pytest.approx(76.8)


def test_r10_the_conductors_of_a_200_a_service_carry_166_a():
    # NEC 310.12, 83 %.
    assert size.least_conductor_a(200) == pytest.approx(166)


def test_r11_22_kva_and_5_of_heating_are_19_8_kva_by_the_optional_method():
    # NEC 220.82: 10 + 0.4 * 12 + 5 = 19.8; at 240 V 82.5 A.
    assert size.optional_method_kva(22, heating_kva=5) == pytest.approx(19.8)
    assert size.amperes_of(19.8) == pytest.approx(82.5)
    assert size.optional_method_kva(8, heating_kva=0) == pytest.approx(8)


def test_r12_the_defaults_to_enter_service_are_those_of_ieee_1547():
    # IEEE 1547-2018, 4.10, as the default table of the PyPI package opender gives it.
    assert size.ENTER_SERVICE_PU == (0.917, 1.05)
    assert size.ENTER_SERVICE_HZ == (59.5, 60.1)
    assert size.ENTER_SERVICE_DELAY_S == 300


def test_c2_a_200_a_ct_fits_a_200_a_service_and_a_100_a_one_does_not():
    # Common practice, no source.
    assert size.ct_is_large_enough(200, service_a=200)
    assert not size.ct_is_large_enough(100, service_a=200)
