"""Claims: what a scheme promises, held against what an audit found."""
