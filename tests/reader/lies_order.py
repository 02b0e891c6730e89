"""Lies about time: the bundle is honest, what lies beside it is not. Each lie is a function of the draw and the shop that gives (kind, demand, reasons), or
nothing where it cannot be told here; it leaves the lie in the shop's fields, or in what is done to the bytes at last."""

import lies_lists as lists
import lies_roots as roots
import lies_rules as rules
import lies_state as state

STATE = [state.state_bytes, state.state_empty, *4 * [state.state_field], state.state_text, *2 * [state.state_structure], *3 * [state.state_limit], state.state_size, *3 * [state.known_revision],
         state.known_key, state.known_trust, state.known_time, *2 * [state.known_withdrawal]]
ROOTS = [roots.unrelated, *3 * [roots.fork], *2 * [roots.thief_chain], roots.chain_order, *2 * [roots.succession_lie], roots.trust_lie]
LISTS = [*3 * [lists.withdrawals_lie], lists.withdrawals_number, lists.withdrawn, lists.many_notices, *2 * [lists.job_list_lie], *2 * [lists.job_list_rows],
         *3 * [lists.inclusion_lie], *2 * [lists.newest_lie], lists.empty_file]
LIES = STATE + ROOTS + LISTS + rules.LIES
