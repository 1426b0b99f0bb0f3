"""What the current does to the work: potential, heat, contacts, setdown and nugget of sheets and of crossed rods."""
