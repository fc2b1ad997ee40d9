-- What to practise next, from a week's price of the strike, its misses by cause, and its strike pattern.
WITH told_of AS (
    SELECT
        loss.site_id,
        loss.player_id,
        loss.club_id,
        loss.week,
        loss.method_version,
        practice_plan(named_struct(
            'shots', loss.shots,
            'shots_judged', loss.shots_judged,
            'misses', loss.misses,
            'misses_strike', loss.misses_strike,
            'misses_delivery', loss.misses_delivery,
            'misses_either', loss.misses_either,
            'misses_both_needed', loss.misses_both_needed,
            'misses_untold', loss.misses_unclear,
            'carry_lost_mean_m', coalesce(loss.carry_lost_mean_m, loss.carry_lost_plain_mean_m),
            'carry_lost_low_m', loss.carry_lost_mean_low_m,
            'reference_carry_m', loss.reference_carry_mean_m,
            'tighter_strike_gain_m', loss.tighter_strike_gain_mean_m,
            'faster_club_gain_m', loss.faster_club_gain_mean_m,
            'next_toe_mm', pattern.next_toe_mm,
            'next_toe_sd_mm', pattern.next_toe_sd_mm,
            'next_up_mm', pattern.next_up_mm,
            'next_up_sd_mm', pattern.next_up_sd_mm,
            'next_degrees', pattern.next_degrees,
            'enough_shots', $enough_shots,
            'dear_share', $dear_share,
            'frequent_share', $frequent_share
        )) AS told
    FROM carry_loss AS loss
    LEFT JOIN strike_pattern AS pattern
        ON pattern.site_id = loss.site_id
        AND pattern.player_id = loss.player_id
        AND pattern.club_id = loss.club_id
        AND pattern.week = loss.week
)
SELECT
    site_id,
    player_id,
    club_id,
    week,
    told['practise_next'] AS practise_next,
    told['practise_why'] AS practise_why,
    told['gate_basis'] AS gate_basis,
    told['gate_how'] AS gate_how,
    told['comparison'] AS comparison,
    told['strike_share'] AS strike_share,
    told['strike_share_low'] AS strike_share_low,
    told['delivery_share'] AS delivery_share,
    told['delivery_share_low'] AS delivery_share_low,
    told['probability_strike_leads'] AS probability_strike_leads,
    told['loss_share'] AS loss_share,
    told['gate_toe_mm'] AS gate_toe_mm,
    told['gate_heel_mm'] AS gate_heel_mm,
    told['gate_high_mm'] AS gate_high_mm,
    told['gate_low_mm'] AS gate_low_mm,
    told['gate_pass_share'] AS gate_pass_share,
    told['gate_height_share'] AS gate_height_share,
    told['tighter_strike_gain_m'] AS tighter_strike_gain_m,
    told['faster_club_gain_m'] AS faster_club_gain_m,
    method_version,
    CAST(0 AS BIGINT) AS revision
FROM told_of
