"""The cautions every set of papers carries. They hand over to the local code and to licensed people."""

CAUTIONS = (
    "These papers give shapes and sizes. They do not certify a tank; approval for the road, the track or anything "
    "else is for the maker, who builds the tank, to seek where the local code asks for it.",
    "The leak test is the maker's, who chooses its method and pressure, at low pressure only. These papers give no "
    "test pressure.",
    "A tank that has held fuel can explode. Never cut, grind, weld or heat one unless a competent person has made it "
    "fit for hot work under the local rules.",
    "Petrol vapour is heavier than air and travels to flames. No fuel near welding, grinding or heaters.",
    "Weld and grind with ventilation and fume extraction. Shielding gas displaces air: never put your head into a tank "
    "under purge. No chlorinated cleaner on anything that will be welded.",
    "Cut sheet has sharp edges: gloves on blanks, guards on shears and folders, eyes and skin covered from the arc.",
    "Try the tank on the motorcycle, at full lock and full travel, before it is painted and before fuel is put in.",
)
