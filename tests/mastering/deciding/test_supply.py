"""What a plan counts on: not what is held, retired, stopped, used up, or of the wrong density."""

from formats import registry
from mastering.deciding.supply import DriveSupply, LotSupply, blanks_left, lot_fits, working_drives

SIDES = {"A": registry.geometry("gcr6and2-35x16x256"), "B": registry.geometry("mfm-40x9x512")}


def test_drives_that_can_not_work_are_not_counted():
    fleet = [DriveSupply("D1"), DriveSupply("D2", held=True), DriveSupply("D3", retired=True), DriveSupply("D4", serves=False)]
    assert working_drives(fleet) == 1
    assert working_drives(fleet[1:]) == 0


def test_simulated_drives_do_no_work_where_there_are_real_ones():
    assert working_drives([DriveSupply("D1"), DriveSupply("D9", simulated=True)]) == 1
    assert working_drives([DriveSupply("D8", simulated=True), DriveSupply("D9", simulated=True)]) == 2


def test_only_lots_that_can_be_laid_out_are_counted():
    lots = [LotSupply("L1", left=12), LotSupply("L2", left=30, stopped=True), LotSupply("L3", left=30, fits=False), LotSupply("L4", left=0)]
    assert blanks_left(lots) == 12
    assert blanks_left(lots[1:]) == 0
    assert blanks_left([*lots, LotSupply("L5")]) is None
    assert blanks_left([]) is None


def test_high_density_blanks_do_not_fit_ordinary_sides():
    assert lot_fits({"name": "L1", "coercivity": 300}, SIDES)
    assert not lot_fits({"name": "L1", "coercivity": 600}, SIDES)
    assert lot_fits({"name": "L1"}, SIDES)
