"""What each key of ``results.json`` means: its path, and its unit and meaning in words.

A path's ``[]`` stands for each item of a list. Every key that `figures` writes is here, and no other; a test
holds that. Lengths in mm, areas in mm2 and places in mm, x and y from the lower left corner of the box round
the blank as it is cut and drawn, good face up, unless the words say otherwise. A key that does not apply to
an item is ``null`` or an empty text, and is still there.
"""

from __future__ import annotations

from collections.abc import Mapping

__all__ = ["FIELDS"]

_TEXT = """
format                      name of this set of keys, and its number, which rises when a key changes meaning

job.name                    name of the job
job.reference               customer's reference
job.revision                revision of the patterns
job.pattern_date            date of the patterns, year-month-day
job.unit                    unit the job was given in: mm or in
job.surface                 what the patterns show: outside or inside of the finished tank

metal.name                  alloy and temper
metal.kind                  aluminium, steel or stainless
metal.words                 metal and thickness in words
metal.thickness_mm          sheet thickness
metal.thickness_in          the same in inches
metal.gauge                 gauge with its system, or the nearest one and its thickness
metal.density_kg_m3         density, kg/m3
metal.fold_radius_mm        inside radius of folds

findings[].strength         stop, look or note
findings[].pattern          the pattern or piece it is about
findings[].says             what was found, in words
findings[].found            the figure found, with its unit
findings[].allowed          the figure allowed, with its unit
findings[].at_mm            place, x from the front register mark
findings[].remedy           one thing to do
found.stop                  how many stops
found.look                  how many looks
found.note                  how many notes

capacity.brim_l             litres to the brim: inner surface less the tunnel
capacity.tolerance_l        litres, plus or minus, on the brim figure
capacity.ullage_l           litres left empty for the fuel to expand
capacity.ullage_percent     the same as a share of the brim figure
capacity.below_outlet_l     litres that the outlets do not reach, both sides; not in the usable figure
capacity.usable_l           litres that can be filled in and will run out
capacity.litres_per_mm_width    litres lost for each mm the tunnel is wider at each side
capacity.litres_per_mm_depth    litres lost for each mm the tunnel is deeper
capacity.centre_mm[]        centre of mass of the fuel, brim full: x rearwards, y out to the right, z up
capacity.dry_mass_kg        kg of all blanks, trimmed, with laps, lips, doublers, baffles; no weld, no fittings
capacity.shell_area_mm2     area of the shell

tank.length_mm              largest length of the outer surface
tank.width_mm               largest width
tank.height_mm              largest height
tank.pieces[]               names of the pieces of the body
tunnel                          null where there is none
tunnel.clear_width_front_mm     clear width between the legs at the front: backbone and room at both sides
tunnel.clear_width_rear_mm      the same at the rear
tunnel.backbone_front_mm        width of the backbone at the front
tunnel.backbone_rear_mm         width of the backbone at the rear
tunnel.side_room_mm             room at each side as drawn
tunnel.draw_in_mm               how far the legs are expected to draw in at each side when welded
tunnel.side_room_left_mm        room at each side after that
tunnel.top_room_mm              room over the frame line
tunnel.top                      flat, round (a half round) or arch
tunnel.arch_rise_mm             rise of an arch at the front; null for another top
tunnel.roll_radius_front_mm     inside radius that a rounded top is rolled to at the front; null for a flat one
tunnel.roll_radius_rear_mm      the same at the rear
tunnel.corner_room_mm           least room from a square backbone's top corners to a rounded top; else null
tunnel.clear_depth_front_mm     height of its top corner, or of a rounded one's middle, over the lower edge; or null
tunnel.clear_depth_middle_mm    the same in the middle
tunnel.clear_depth_rear_mm      the same at the rear
tunnel.touches_first            where the least room is
misses[].pattern            a pattern
misses[].miss_mm            farthest that the finished surface lies from it, to 0.01 mm

blanks[].piece              number of the piece, the same on every paper
blanks[].name               name of the piece
blanks[].side               left, right or centre
blanks[].mirrors            the blank that this one is the true mirror image of
blanks[].kind               formed (crowned), rolled (unrolls exactly), folded or flat
blanks[].quantity           how many
blanks[].metal              alloy and temper
blanks[].thickness_mm       thickness
blanks[].gauge              gauge in words
blanks[].grain_deg          grain, degrees from across the drawing, anticlockwise; null: any way
blanks[].grain              grain in words
blanks[].good_face          which face is up as drawn
blanks[].width_mm           bounding size across the drawing, as cut
blanks[].height_mm          bounding size up the drawing, as cut
blanks[].cut_area_mm2       area as cut, holes taken out
blanks[].net_area_mm2       area inside the trim line
blanks[].formed_area_mm2    area of the finished piece at its neutral surface
blanks[].mass_kg            kg as cut
blanks[].net_mass_kg        kg after trimming
blanks[].cut_length_mm      length of all cut lines, holes included
blanks[].pierces            how often a profile cutter must pierce: once a closed line
blanks[].sheets[]           number of the sheet it lies on
blanks[].other_stock        true where it is cut from another metal or thickness than the tank: laid on no sheet here
blanks[].strain             null where the metal is neither stretched nor shrunk
blanks[].strain.stretch_worst_percent   most stretch anywhere, percent of flat length
blanks[].strain.stretch_worst_at_mm[]   where, x and y; null where there is none
blanks[].strain.shrink_worst_percent    most shrink anywhere, percent of flat length
blanks[].strain.shrink_worst_at_mm[]    where, x and y; null where there is none
blanks[].strain.most_stretched_way_mean_percent   mean, the way that stretches most, + stretch
blanks[].strain.most_shrunk_way_mean_percent      mean, the way that shrinks most, - shrink
blanks[].strain.left_be_percent         share of the blank's area that changes by less than 0.5 percent
blanks[].strain.difficulty              easy, ordinary, hard or split the piece, by the worst figure
blanks[].strain.zones[].do              stretch, shrink or leave be
blanks[].strain.zones[].work            easy, ordinary, hard or split the piece, by its worst place
blanks[].strain.zones[].worst_percent   its worst place, + stretch, - shrink
blanks[].strain.zones[].worst_at_mm[]   where that is, x and y
blanks[].strain.zones[].mean_percent    mean over the zone of the larger of the two strains
blanks[].strain.zones[].along_percent   mean change of length along x of the blank
blanks[].strain.zones[].across_percent  mean change of length along y of the blank
blanks[].strain.zones[].share_percent   its share of the blank
blanks[].strain.zones[].at_mm[]         a place well inside it, x and y
blanks[].strain.sheet.words             the strain beside what is published about the sheet: a comparison, no promise
blanks[].strain.sheet.thickness         how thin and how thick the sheet becomes, in words
blanks[].strain.sheet.thinnest_mm       thickness where it is stretched most, at constant volume
blanks[].strain.sheet.thickest_mm       thickness where it is shrunk most
blanks[].strain.sheet.elongation_percent     published stretch at break of a pull test, neck included
blanks[].strain.sheet.elongation_basis       over what length it was measured
blanks[].strain.sheet.forming_limit_percent  stretch at which the sheet begins to neck, pulled one way; null: not known
blanks[].strain.sheet.forming_limit_from     where that figure is from, and its limits
blanks[].strain.sheet.limit_used_percent     share of the limit at the worst place; null: no limit known
blanks[].slits              slit pattern of a crowned piece; null for others and for a left-hand twin
blanks[].slits.from_x_mm    the section it begins at
blanks[].slits.to_x_mm      the section it ends at
blanks[].slits.spine        the line its strips hang together at, in words
blanks[].slits.strips       how many strips
blanks[].slits.edge_change_mm[]   what both long edges gain (+) or lose (-), worked from the spine alone
blanks[].slits.joints[][]   gap (+) or overlap (-) of every slit at both its ends, from front to rear
blanks[].grid[].line        x: a line up the drawing, x the same all along; y: a line across it; crowned pieces only
blanks[].grid[].at_mm       how far it is from the lower left corner: the lines of the template's grid
blanks[].grid[].flat_mm     its length inside the trim line
blanks[].grid[].formed_mm   what it measures along the finished piece
blanks[].grid[].tank_mm[][]   x, y, z of its ends and of where it meets the lines across it, on the finished tank
blanks[].edges[].edge               number of the edge on the drawing
blanks[].edges[].letter             seam letter, the same on both pieces that meet; empty where it meets none
blanks[].edges[].meets              the piece on the other side
blanks[].edges[].joint              butt, lap, flange (a lip), fillet round a doubler, or none where it meets nothing
blanks[].edges[].lies               outside or inside, in a lap or flange; empty for other joints
blanks[].edges[].allowance_mm       metal left outside the trim line
blanks[].edges[].allowance          the same in words: net, trim, lap or flange
blanks[].edges[].blank_length_mm    length along the trim line on the flat
blanks[].edges[].formed_length_mm   length on the finished piece
blanks[].edges[].gain_mm            what the edge must gain, + stretch, - shrink
blanks[].edges[].gain_percent       the same, percent of the flat length
blanks[].edges[].difficulty         easy, ordinary, hard, split the piece; or as it is, too little to tell
blanks[].rolls[].roll               number of the bend on the drawing, in order along the piece; null for a flat zone
blanks[].rolls[].kind               flat, rolled, or bend (inside radius under three thicknesses)
blanks[].rolls[].from_mm[][]        the line where the zone begins, both its ends, x and y
blanks[].rolls[].to_mm[][]          the line where it ends
blanks[].rolls[].angle_deg          degrees the metal is turned
blanks[].rolls[].direction          up (towards the good face) or down; empty for a flat zone
blanks[].rolls[].inside_radius_mm   inside radius of the whole zone; null: flat
blanks[].rolls[].radius_at_start_mm   inside radius where it begins, where it changes on the way
blanks[].rolls[].radius_at_end_mm   inside radius where it ends
blanks[].rolls[].radius_at_edges_mm[] inside radius at the first and second end of its lines: those of a cone differ
blanks[].rolls[].least_radius_mm    the tightest of these
blanks[].rolls[].miss_mm            how far an arc of the whole zone's radius leaves the piece
blanks[].folds[].fold               number of the fold on the drawing
blanks[].folds[].lip                letter of the edge whose lip it turns, or empty
blanks[].folds[].angle_deg          degrees the metal is turned
blanks[].folds[].direction          up (towards the good face) or down
blanks[].folds[].inside_radius_mm   inside radius
blanks[].folds[].k_factor           K-factor
blanks[].folds[].k_source           where the K-factor is from
blanks[].folds[].length_mm          length of the fold line
blanks[].folds[].start_mm[]         its start, x and y
blanks[].folds[].end_mm[]           its end, x and y
blanks[].lips[].letter              letter of the edge that is turned over
blanks[].lips[].width_mm            width of the lip on its outside
blanks[].lips[].angle_deg[]         degrees the metal is turned, least and most along it
blanks[].lips[].direction           up (towards the good face) or down
blanks[].lips[].inside_radius_mm    inside radius
blanks[].lips[].k_factor            K-factor
blanks[].lips[].k_source            where the K-factor is from
blanks[].lips[].straight            true if one straight fold makes it; that is among the folds too
blanks[].lips[].length_mm           length of the bend line
blanks[].lips[].start_mm[]          its start, x and y
blanks[].lips[].end_mm[]            its end, x and y
blanks[].notes[]                    notes to the piece

sheets[].sheet              number of the sheet
sheets[].stock              name of the stock size
sheets[].width_mm           size along the drawing
sheets[].height_mm          size up the drawing
sheets[].thickness_mm       thickness
sheets[].from               bought, or own rack
sheets[].price              price of the sheet; 0 where none is given, and for the own rack, which is paid for
sheets[].grain              which way the grain runs
sheets[].parts[].piece          number of a piece on it; the parts stand in the order they are cut
sheets[].parts[].name           its name
sheets[].parts[].turn_deg       how far it is turned, anticlockwise, against its own drawing
sheets[].parts[].turned_over    true where it lies good face down
sheets[].parts[].left_mm        its nearest point to the left edge of the sheet
sheets[].parts[].low_mm         its nearest point to the lower edge of the sheet
sheets[].sheet_area_mm2     area of the sheet: parts, offcuts and skeleton together
sheets[].parts_area_mm2     area in parts
sheets[].offcuts_area_mm2   area in offcuts that are kept
sheets[].skeleton_area_mm2  area that is scrap
sheets[].yield_percent      parts as a share of the sheet
sheets[].yield_with_offcuts_percent   parts and kept offcuts as a share of the sheet
sheets[].cut_length_mm      length of all cuts on it
sheets[].pierces            pierces on it

offcuts[].label             its name on the drawing of the sheet
offcuts[].sheet             number of the sheet it comes from
offcuts[].width_mm          size along the drawing
offcuts[].height_mm         size up the drawing
offcuts[].area_mm2          area
offcuts[].square            true where it is a full rectangle

cuts[].order                edge-to-edge cuts, in order; none where it is cut as profiles
cuts[].sheet                number of the sheet
cuts[].piece                label of the piece under the shear
cuts[].measure              from which edge of that piece the cut is measured
cuts[].distance_mm          distance from that edge
cuts[].length_mm            length of the cut
cuts[].makes[]              labels of the two pieces it makes, the one measured off first
cuts[].sides[]              which half is measured off, and which is the rest
cuts[].becomes[]            what each of the two is: cut again, a piece with its size, kept, or scrap
cuts[].purpose              square, part or trim

buy[].quantity              how many sheets to buy
buy[].stock                 name of the stock size
buy[].width_mm              size
buy[].height_mm             size
buy[].price                 price each; 0 where none is given
buy[].words                 the order in the supplier's words

totals.blanks               number of blanks
totals.sheets               number of sheets
totals.sheets_to_buy        how many of them are bought
totals.sheet_area_mm2       area of all sheets
totals.parts_area_mm2       area in parts
totals.offcuts_area_mm2     area in kept offcuts
totals.skeleton_area_mm2    area that is scrap
totals.tie_mm2              sheets less parts, offcuts and skeleton; 0 where the areas tie
totals.mass_bought_kg       kg of the sheets bought
totals.mass_used_kg         kg of all sheets used
totals.mass_in_parts_kg     kg in parts as cut
totals.mass_kept_kg         kg in kept offcuts
totals.mass_scrap_kg        kg of scrap
totals.yield_whole_percent          parts as a share of all sheets
totals.yield_with_offcuts_percent   parts and kept offcuts as a share of all sheets
totals.cutting              shear or profile
totals.cut_length_mm        length of all cuts
totals.pierces              all pierces
totals.gap_mm               least gap kept between parts
totals.edge_mm              margin kept at the edge of a sheet
totals.price                price of the sheets; 0 where none is given
totals.currency             currency of the prices
totals.bound                nothing can be cheaper, or need fewer sheets, than this
totals.bound_of             what the bound is of
totals.proven               true where the bound is reached
totals.seam_length_mm       length of all welded seams: butt, lap and flange
totals.seam_butt_mm         length of all butt seams
totals.seam_lap_mm          length of all lap seams
totals.seam_flange_mm       length of all seams with a lip behind
totals.fillet_length_mm     length of the fillets round doublers; not in the seams
totals.other_stock_area_mm2 area as cut of the blanks from other stock; not in the parts on sheets
totals.fold_length_mm       length of all folds between two pieces of one blank: nothing to weld
totals.nest_notes[]         notes of the nesting

test_strips[].thickness_mm      thickness of a kind of fold
test_strips[].inside_radius_mm  its inside radius
test_strips[].angle_deg         degrees the strip is folded by
test_strips[].strip_mm          flat length of the strip
test_strips[].k_factor          K-factor that the blanks were worked out with
test_strips[].legs_mm           what the two legs, measured to the outside, add up to if that K is right
test_strips[].read_k[].k_factor     another K
test_strips[].read_k[].legs_mm      what the legs add up to if that is right

seams[].letter              seam letter
seams[].one                 one piece
seams[].other               the other
seams[].one_piece[]         number of the blank that the one is, or is part of; more than one where it is in parts
seams[].other_piece[]       the same of the other
seams[].joint               butt, lap, flange (a lip), fold where both are one blank, or none
seams[].allowance_mm        width of the metal that laps, or of the lip on the flat; 0 for other joints
seams[].allowance_on        the piece that carries it; empty for other joints
seams[].outside             the piece that lies outside in a lap or over a lip; empty for other joints
seams[].length_mm           length on the finished tank
seams[].edges_differ_mm     how far apart the formed lengths of its two edges are; null where not known

fittings[].name             a filler, vent, outlet, bung, mount, bracket or mark
fittings[].kind             which of these; empty where neither it nor its name says
fittings[].on               the piece it sits on; empty where it lies on none
fittings[].piece[]          number of the blank that this is, or is part of
fittings[].hand             right, left or centre
fittings[].at_mm[]          where, on the outside: x rearwards, y out to the right, z up; null where it lies on none
fittings[].hole_mm          diameter of its hole; 0 for a point
fittings[].flange_mm        diameter of the flange or boss round it; 0 for none
fittings[].flange_weld_mm   length of the weld round that
fittings[].cut              true where the hole is cut in the blank; else it is scribed
fittings[].doubler          number of the blank of its doubler; null for none
fittings[].below_top_mm     filler and vent: how far below the highest point inside; null for others
fittings[].not_filled_l     filler and vent: litres above it that cannot be filled; null for others

quote.currency              currency of all its money
quote.date                  day of the quote, year-month-day; empty where the job gives none
quote.valid_until           last day it holds; empty where the job gives no day
quote.valid_days            for how many days it holds
quote.lines[].group         material, work, bought parts, consumables, outside work, packing and shipping
quote.lines[].name          what is charged for
quote.lines[].low           least quantity: hours of work; the same three times for all else
quote.lines[].likely        likely quantity
quote.lines[].high          largest quantity
quote.lines[].unit          unit of the quantity
quote.lines[].price         money a unit; 0 where none is given
quote.lines[].amount        likely quantity times price, money
quote.lines[].missing       true where there is something to charge for and no price
quote.lines[].edited        true where the job itself sets it
quote.lines[].why           how the quantity comes about
quote.costs.low             all lines together, money
quote.costs.likely          the same
quote.costs.high            the same
quote.overhead_percent      put on the costs; null where the shop names none
quote.margin_percent        put on costs and overhead; null likewise
quote.tax_percent           put on what is before it; null likewise
quote.net.low               before tax, money
quote.net.likely            the same
quote.net.high              the same
quote.total.low             with tax, money
quote.total.likely          the same
quote.total.high            the same
quote.asked                 what the customer is asked for, money
quote.deposit               deposit asked for, money; null where the shop names no percentage
quote.missing[]             lines without a price, counted as nothing
quote.not_included[]        what the quote leaves out
quote.scrap_kg              kg of scrap
quote.scrap_worth           what it brings, money; null where the shop names no price
quote.past[].trade          kind of work that hours were told of on earlier jobs
quote.past[].jobs           how many jobs
quote.past[].estimated_h    hours their quotes had
quote.past[].taken_h        hours they took

rack.take[]                 names of the rack's pieces that the layout uses
rack.put[].label            a kept offcut's name on the drawing of its sheet
rack.put[].name             its name on the rack, once it is put there
rack.put[].width_mm         size along the drawing
rack.put[].height_mm        size up the drawing

assumptions[].name          what is assumed
assumptions[].value         the value, in words
cautions[]                  cautions
"""


def _read(text: str) -> dict[str, str]:
    rows = (line.split(None, 1) for line in text.splitlines() if line.strip())
    return {path: words.strip() for path, words in rows}


#: Path of each key to its unit and meaning.
FIELDS: Mapping[str, str] = _read(_TEXT)
