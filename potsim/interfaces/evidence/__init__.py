"""How far potsim is from every published value it is tested against."""
