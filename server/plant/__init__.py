"""Parts of plants and their physics: concrete for runs, abstract for proofs."""
