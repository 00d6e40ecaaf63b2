"""How much a view says about the witness and the key.

`gains` weighs beliefs that an attack already holds; `channel`, `region` and `discrete` hold views of few
values, `logistic`, `learners`, `learned` and `chain` real-valued ones; `tables` and `within_subject` are
permutation tests; `detection` and `planted` say what could have been seen.
"""

from harness.estimators.leakage.gains import key_information, symbol_information
from harness.estimators.leakage.tables import permutation_p_value

__all__ = ["key_information", "permutation_p_value", "symbol_information"]
