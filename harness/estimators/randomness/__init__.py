"""The fifteen tests of NIST SP 800-22 rev. 1a (2010). Randomness is not secrecy: see `suite`."""
