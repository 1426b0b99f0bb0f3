"""The joint model: potential, heat, contacts, setdown and nugget of sheets and of crossed rods under current."""
